// What scripts say, in the page's language: English stands in the code, another language comes with the page.
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
 * A message of which the number `n`, a field of it, chooses the form.
 * @param {string} one
 * @param {string} many
 * @param {number} n
 */
export function tn(one, many, n) {
  const translated = words[one];
  return filled(translated ? translated[forms[n < 100 ? n : 100 + (n % 100)]] : n === 1 ? one : many, { n });
}

/** A number that is written with a point, with the decimal sign of the language. */
export const decimal = (/** @type {string} */ text) => text.replace(".", sign);
