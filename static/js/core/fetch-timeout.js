// Requests that are given up in time: on a network that hangs, a plain fetch may wait for minutes.
const TIMEOUT_MS = 8000;

/**
 * Like `fetch`; rejects where the network is away, and where it hangs.
 * @param {string} url
 * @param {RequestInit} [options]
 */
export const fetchWithTimeout = (url, options = {}) =>
  fetch(url, { signal: AbortSignal.timeout(TIMEOUT_MS), ...options });
