// Parses typed numbers by the same rule as roastlog/web/http/forms.py: one comma or point is the decimal separator;
// spaces may group thousands; the minus may be a typographic one. Two separators are ambiguous and refused.
import { t } from "./words.js";

const plain = (/** @type {string} */ text) =>
  text
    .trim()
    .replace(/(\d)[ \u00a0\u202f](?=\d{3}(?!\d))/g, "$1")
    .replace(",", ".")
    .replace("−", "-");

/**
 * The typed number; NaN for anything else.
 * @param {string} text
 */
export function parseNumber(text) {
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain(text)) ? Number(plain(text)) : NaN;
}

/**
 * The reason why a text is not a number, in a sentence.
 * @param {string} text
 */
export function numberError(text) {
  const signs = /^[+−-]?[\d.,\s]*$/.test(text) && (text.match(/[.,]/g) ?? []).length > 1;
  return signs
    ? t("“{text}” has more than one comma or point. Leave out those that group the thousands.", { text })
    : t("“{text}” is not a number.", { text });
}
