// A question to the server that is given up in time: on a network that hangs, a plain fetch may wait for minutes.
const PATIENCE_MS = 8000;

/** Like `fetch`; rejects where the network is away, and where it hangs. */
export const soon = (url, options = {}) => fetch(url, { signal: AbortSignal.timeout(PATIENCE_MS), ...options });
