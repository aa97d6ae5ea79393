// What scripts say, in the page's language: English stands in the code, another language comes with the page.
const found = globalThis.document?.getElementById("catalogue"); // the worker has no page
const { words = {}, decimal: sign = ".", forms = [] } = found ? JSON.parse(found.textContent) : {};
const filled = (text, fields) => text.replace(/\{(\w+)\}/g, (whole, name) => fields[name] ?? whole);

/** A message with its fields: t("{n} waiting", { n: 3 }). */
export const t = (message, fields = {}) => filled(words[message] ?? message, fields);

/** A message of which the number `n`, a field of it, chooses the form. */
export function tn(one, many, n) {
  const said = words[one];
  return filled(said ? said[forms[n < 100 ? n : 100 + (n % 100)]] : n === 1 ? one : many, { n });
}

/** A number that is written with a point, with the decimal sign of the language. */
export const decimal = (text) => text.replace(".", sign);
