// Values that this device stores under a key. If the browser blocks storage, they last as long as this page.

/** Key of the readings typed by hand that the server does not have. */
export const TYPED_READINGS = "drumside-typed";

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
    // it lasts as long as this page
  }
}

/**
 * A value stored as JSON; null if there is none or it cannot be parsed.
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
