// Requests with a timeout: on a network that hangs, a plain fetch may wait for minutes.
const TIMEOUT_MS = 8000;

/**
 * Like `fetch`; rejects if the network is unreachable or hangs.
 * @param {string} url
 * @param {RequestInit} [options]
 */
export const fetchWithTimeout = (url, options = {}) =>
  fetch(url, { signal: AbortSignal.timeout(TIMEOUT_MS), ...options });
