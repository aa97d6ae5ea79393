// Texts of scripts in the page's language: English is in the code, other languages come with the page.
const catalogue = globalThis.document?.getElementById("catalogue"); // the worker has no page

/** @type {{ words?: Record<string, any>, decimal?: string, forms?: number[] }} */
const { words = {}, decimal: sign = ".", forms = [] } = catalogue ? JSON.parse(catalogue.textContent ?? "") : {};

/** @typedef {Record<string, string | number>} Fields */

const filled = (/** @type {string} */ text, /** @type {Fields} */ fields) =>
  text.replace(/\{(\w+)\}/g, (whole, name) => String(fields[name] ?? whole));

/**
 * A message with its fields: t("{n} waiting", { n: 3 }).
 * @param {string} message
 * @param {Fields} [fields]
 */
export const t = (message, fields = {}) => filled(words[message] ?? message, fields);

/**
 * A message whose plural form is chosen by the number `n`, one of its fields.
 * @param {string} one
 * @param {string} many
 * @param {number} n
 */
export function tn(one, many, n) {
  const translated = words[one];
  return filled(translated ? translated[forms[n < 100 ? n : 100 + (n % 100)]] : n === 1 ? one : many, { n });
}

/** A number written with a point, with the decimal separator of the language. */
export const decimal = (/** @type {string} */ text) => text.replace(".", sign);
