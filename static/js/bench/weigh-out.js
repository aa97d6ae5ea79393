// The weigh-out is sent like a tap: saved here, then sent; offline it waits, and the page says so. Without this script,
// and for input that it cannot parse, the browser submits the form.
import { Clock } from "../core/clock.js";
import { byId, find, findAll } from "../core/dom.js";
import { parseNumber } from "../core/number-input.js";
import { t } from "../core/words.js";
import { newId, Outbox } from "../offline/outbox.js";
import { PhotoOutbox } from "../offline/photo-outbox.js";

const form = byId("weigh", HTMLFormElement);
const { machine = "", code = "", unitG, unit, madeMs } = form.dataset;
const clock = Clock.onPage(Number(madeMs));
const outbox = new Outbox(clock);
const note = byId("weigh-waits");
/** @type {Map<string, Entry>} */
const waiting = new Map(); // entries of this weigh-out that the server has not acknowledged yet
/** @type {OutboxState[]} */
const refused = [];
let next = "";

/** @param {string} name */
const field = (name) => /** @type {HTMLInputElement | null} */ (form.elements.namedItem(name));
const typed = (/** @type {string} */ name) => field(name)?.value.trim() ?? "";

/** @param {boolean} on */
function enable(on) {
  for (const button of findAll(document, "[form=weigh]", HTMLButtonElement)) button.disabled = !on;
}

/**
 * Remember the person for the next form, as the server does.
 * @param {string} person
 */
function rememberPerson(person) {
  if (/^[\p{L}\p{N} .'-]+$/u.test(person)) document.cookie = `who=${person}; path=/; max-age=31536000; samesite=lax`;
}

/**
 * A typed mass [g]; null if empty, NaN if the server has to report the error.
 * @param {string} name
 */
function grams(name) {
  return typed(name) ? parseNumber(typed(name)) * Number(unitG) : null;
}

/**
 * @param {string} then
 * @returns {Entry[] | null}
 */
function typedEntries(then) {
  const [roasted, removed] = [grams("roasted"), grams("removed")];
  if (roasted === null || !(roasted > 0) || Number.isNaN(removed)) return null;
  const text = typed("note");
  /** @type {[string, Record<string, any>][]} */
  const bodies = [["weighed", removed === null ? { roasted_g: roasted } : { roasted_g: roasted, removed_g: removed }]];
  if (text) bodies.push(["note", { text }]);
  if (then === "release") bodies.push(["released", { decision: "release" }]);
  const person = typed("person");
  const at = Math.round(clock.now());
  const by = person ? { person } : {};
  return bodies.map(([kind, body]) => ({ id: newId(), machine, batch: code, kind, at_ms: at, by, body }));
}

/**
 * @param {"flagged" | "refused"} kind
 * @param {string} text
 */
function tell(kind, text) {
  note.className = `notice ${kind}`;
  find(note, "*").textContent = text;
  note.hidden = false;
  note.scrollIntoView({ block: "nearest" });
}

function tellWaiting() {
  const label = next.includes("/label") ? ` ${t("You can print the label once the weight is on the server.")}` : "";
  const mass = `${field("roasted")?.value} ${unit}`;
  const text = t("{mass} saved on this device. It is sent automatically, with its time; you may leave this page.", {
    mass,
  });
  tell("flagged", text + label);
}

/** All were answered and some refused: they are corrected in the form, unless the weight itself was saved. */
function tellRefused() {
  const reasons = refused.map(({ result }) => result?.reason).join(" ");
  const isWeight = refused.some(({ entry }) => entry.kind === "weighed");
  const text = isWeight
    ? t("Not saved: {reasons} Change it and save again.", { reasons })
    : t("The weight is saved, the rest is not: {reasons}", { reasons });
  tell("refused", text);
  enable(isWeight);
  refused.length = 0;
}

outbox.on("state", async (item) => {
  if (!waiting.has(item.id)) return;
  if (item.state === "refused") {
    refused.push(item);
    await outbox.dismiss(item.id); // the form is still open, so it can be corrected there
  }
  if (item.state === "sent" || item.state === "refused") waiting.delete(item.id);
  if (waiting.size) return;
  if (refused.length) tellRefused();
  else location.assign(next);
});
outbox.on("trouble", () => {
  if (waiting.size) tellWaiting();
});

form.addEventListener("submit", (event) => {
  const then = event.submitter?.getAttribute("value") ?? "keep";
  const entries = typedEntries(then);
  if (!entries) return;
  event.preventDefault();
  if (waiting.size) return;
  next = `/batches/${encodeURIComponent(code)}${then === "release" ? "/label#print" : ""}`;
  entries.forEach((entry) => waiting.set(entry.id, entry));
  enable(false);
  rememberPerson(typed("person"));
  outbox.add(entries);
});

clock.keepSynced();
outbox.start();
new PhotoOutbox(outbox).start();
