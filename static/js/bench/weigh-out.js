// The weigh-out goes the way of a tap: saved here, then sent; without a network it waits, and the page says so.
// Without this script, and for what it cannot read, the form goes to the server as forms do.
import { Clock } from "../core/clock.js";
import { newId, Outbox } from "../offline/outbox.js";
import { Photobox } from "../offline/photo-outbox.js";
import { typedNumber } from "../core/number-input.js";
import { t } from "../core/words.js";

const form = document.getElementById("weigh");
const { machine, code, unitG, unit, madeMs } = form.dataset;
const clock = Clock.onPage(Number(madeMs));
const outbox = new Outbox(clock);
const says = document.getElementById("weigh-waits");
const waits = new Map(); // entries of this weigh-out that the server has not named yet
const refused = [];
let next = "";

function enable(on) {
  for (const button of document.querySelectorAll("[form=weigh]")) button.disabled = !on;
}

/** For the next form, as the server remembers it. */
function remember(person) {
  if (/^[\p{L}\p{N} .'-]+$/u.test(person ?? "")) document.cookie = `who=${person}; path=/; max-age=31536000; samesite=lax`;
}

/** A mass as it was typed [g]; null for nothing, NaN for what only the server can make a sentence of. */
function grams(name) {
  const typed = form.elements[name].value.trim();
  return typed ? typedNumber(typed) * unitG : null;
}

function said(then) {
  const [roasted, removed] = [grams("roasted"), grams("removed")];
  if (!(roasted > 0) || Number.isNaN(removed)) return null;
  const note = form.elements.note.value.trim();
  const bodies = [["weighed", removed === null ? { roasted_g: roasted } : { roasted_g: roasted, removed_g: removed }]];
  if (note) bodies.push(["note", { text: note }]);
  if (then === "release") bodies.push(["released", { decision: "release" }]);
  const person = form.elements.person?.value.trim();
  const at = Math.round(clock.now());
  return bodies.map(([kind, body]) => ({ id: newId(), machine, batch: code, kind, at_ms: at, by: person ? { person } : {}, body }));
}

function tell(kind, text) {
  says.className = `notice ${kind}`;
  says.firstElementChild.textContent = text;
  says.hidden = false;
  says.scrollIntoView({ block: "nearest" });
}

function tellWaiting() {
  const label = next.endsWith("label") ? ` ${t("The label can be printed once the server has it.")}` : "";
  const mass = `${form.elements.roasted.value} ${unit}`;
  tell("flagged", t("{mass} is saved on this device and waits for the server. It is sent by itself, with its time; you may leave this page.", { mass }) + label);
}

/** All were answered and not all were kept: what was not is changed in the form, unless the weight itself was kept. */
function tellRefused() {
  const reasons = refused.map(({ result }) => result.reason).join(" ");
  const isWeight = refused.some(({ entry }) => entry.kind === "weighed");
  tell("refused", isWeight ? t("Not kept: {reasons} Change it and send it again.", { reasons }) : t("The weight is kept, the rest is not: {reasons}", { reasons }));
  enable(isWeight);
  refused.length = 0;
}

outbox.addEventListener("state", async ({ detail: item }) => {
  if (!waits.has(item.id)) return;
  if (item.state === "refused") {
    refused.push(item);
    await outbox.dismiss(item.id); // the form is still here to change it in
  }
  if (item.state === "sent" || item.state === "refused") waits.delete(item.id);
  if (waits.size) return;
  if (refused.length) tellRefused();
  else location.assign(next);
});
outbox.addEventListener("trouble", () => waits.size && tellWaiting());

form.addEventListener("submit", (event) => {
  const then = event.submitter?.value ?? "keep";
  const entries = said(then);
  if (!entries) return;
  event.preventDefault();
  if (waits.size) return;
  next = `/batches/${encodeURIComponent(code)}${then === "release" ? "/label" : ""}`;
  entries.forEach((entry) => waits.set(entry.id, entry));
  enable(false);
  remember(form.elements.person?.value.trim());
  outbox.add(entries);
});

clock.keep();
outbox.start();
new Photobox(outbox).start();
