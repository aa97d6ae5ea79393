// What this device keeps under a name. A browser may have storage shut off: then it holds for this page only.

/**
 * @param {string} key
 * @returns {string | null}
 */
export function loadText(key) {
  try {
    return localStorage.getItem(key);
  } catch {
    return null;
  }
}

/**
 * @param {string} key
 * @param {string} text
 */
export function storeText(key, text) {
  try {
    localStorage.setItem(key, text);
  } catch {
    // it holds for this page only
  }
}

/**
 * What was stored as JSON; null for nothing, and for what cannot be read.
 * @param {string} key
 * @returns {any}
 */
export function load(key) {
  try {
    return JSON.parse(loadText(key) ?? "null");
  } catch {
    return null;
  }
}

/**
 * @param {string} key
 * @param {unknown} value
 */
export function store(key, value) {
  storeText(key, JSON.stringify(value));
}
