// The entries of a weigh-out form, on its own page and on the live page: templates/bench/weigh.html.
import { parseNumber } from "../core/number-input.js";
import { t } from "../core/words.js";
import { newId } from "./outbox.js";

/**
 * @param {HTMLFormElement} form
 * @param {string} name
 */
const typed = (form, name) =>
  /** @type {HTMLInputElement | null} */ (form.elements.namedItem(name))?.value.trim() ?? "";

/**
 * A typed mass [g]; null if empty, NaN if the server has to report the error.
 * @param {HTMLFormElement} form
 * @param {string} name
 */
function grams(form, name) {
  const text = typed(form, name);
  return text ? parseNumber(text) * Number(form.dataset.unitG) : null;
}

const isRelease = (/** @type {SubmitEvent} */ { submitter }) => submitter?.getAttribute("value") === "release";

/**
 * The entries of a submitted form; null for input that the server has to refuse with its reason.
 * @param {HTMLFormElement} form
 * @param {SubmitEvent} event
 * @param {number} atMs
 * @returns {Entry[] | null}
 */
export function typedEntries(form, event, atMs) {
  const [roasted, removed] = [grams(form, "roasted"), grams(form, "removed")];
  if (roasted === null || !(roasted > 0) || Number.isNaN(removed)) return null;
  const [text, person] = [typed(form, "note"), typed(form, "person")];
  /** @type {[string, Record<string, any>][]} */
  const bodies = [["weighed", removed === null ? { roasted_g: roasted } : { roasted_g: roasted, removed_g: removed }]];
  if (text) bodies.push(["note", { text }]);
  if (isRelease(event)) bodies.push(["released", { decision: "release" }]);
  const { machine = "", code = "" } = form.dataset;
  const by = person ? { person } : {};
  return bodies.map(([kind, body]) => ({ id: newId(), machine, batch: code, kind, at_ms: Math.round(atMs), by, body }));
}

/**
 * The page that follows once the entries are on the server.
 * @param {HTMLFormElement} form
 * @param {SubmitEvent} event
 */
export const nextPage = (form, event) =>
  `/batches/${encodeURIComponent(form.dataset.code ?? "")}${isRelease(event) ? "/label#print" : ""}`;

/**
 * The typed weight with its unit.
 * @param {HTMLFormElement} form
 */
export const weightText = (form) => `${typed(form, "roasted")} ${form.dataset.unit}`;

/**
 * The sentence for a weight that waits for the server.
 * @param {HTMLFormElement} form
 * @param {string} next
 */
export function savedText(form, next) {
  const text = t("{mass} saved on this device. It is sent automatically, with its time; you may leave this page.", {
    mass: weightText(form),
  });
  return next.includes("/label") ? `${text} ${t("You can print the label once the weight is on the server.")}` : text;
}
