// Numbers as they are typed. One rule, here and in roastlog/web/http/forms.py: one comma or point, which is the decimal
// sign; spaces may group thousands; the minus may be the typographer's. Two signs could mean two numbers, and are
// refused.
import { t } from "./words.js";

const plain = (/** @type {string} */ text) =>
  text
    .trim()
    .replace(/(\d)[ \u00a0\u202f](?=\d{3}(?!\d))/g, "$1")
    .replace(",", ".")
    .replace("−", "-");

/**
 * The number that was typed; NaN for anything else.
 * @param {string} text
 */
export function parseNumber(text) {
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain(text)) ? Number(plain(text)) : NaN;
}

/**
 * Why a text is no number, in a sentence.
 * @param {string} text
 */
export function numberError(text) {
  const signs = /^[+−-]?[\d.,\s]*$/.test(text) && (text.match(/[.,]/g) ?? []).length > 1;
  return signs
    ? t("“{text}” has more than one comma or point. Leave out those that group the thousands.", { text })
    : t("“{text}” is not a number.", { text });
}
