// The weigh-out is sent like a tap: saved here, then sent; offline it waits, and the page says so. Without this script,
// and for input that it cannot parse, the browser submits the form.
import { Clock } from "../core/clock.js";
import { byId, find, findAll } from "../core/dom.js";
import { bindRoastLoss } from "../core/roast-loss.js";
import { t } from "../core/words.js";
import { Outbox } from "../offline/outbox.js";
import { PhotoOutbox } from "../offline/photo-outbox.js";
import { nextPage, savedText, typedEntries } from "../offline/weigh-out-entries.js";

const form = byId("weigh", HTMLFormElement);
const clock = Clock.onPage(Number(form.dataset.madeMs));
const outbox = new Outbox(clock);
const note = byId("weigh-waits");
/** @type {Map<string, Entry>} */
const waiting = new Map(); // entries of this weigh-out that the server has not acknowledged yet
/** @type {OutboxState[]} */
const refused = [];
let next = "";

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
 * @param {"flagged" | "refused"} kind
 * @param {string} text
 */
function tell(kind, text) {
  note.className = `notice ${kind}`;
  find(note, "*").textContent = text;
  note.hidden = false;
  note.scrollIntoView({ block: "nearest" });
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
  if (waiting.size) tell("flagged", savedText(form, next));
});

form.addEventListener("submit", (event) => {
  const entries = typedEntries(form, event, clock.now());
  if (!entries) return;
  event.preventDefault();
  if (waiting.size) return;
  next = nextPage(form, event);
  entries.forEach((entry) => waiting.set(entry.id, entry));
  enable(false);
  rememberPerson(entries[0].by.person ?? "");
  outbox.add(entries);
});

bindRoastLoss(form);
clock.keepSynced();
outbox.start();
new PhotoOutbox(outbox).start();
