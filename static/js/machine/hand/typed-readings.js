// A typed reading is sent like a tap: saved here with its time, then sent; offline it waits. It may be sent any number
// of times: a channel has one value per time. A refused one stays here with the reason, to be changed or discarded. The
// browser submits the form for input that this script cannot parse.
import { byId, find, findAll } from "../../core/dom.js";
import { fetchWithTimeout } from "../../core/fetch-timeout.js";
import { notice } from "../../core/notice.js";
import { parseNumber } from "../../core/number-input.js";
import { TYPED_READINGS } from "../../core/storage.js";
import { decimal, t, tn } from "../../core/words.js";
import { onReconnect } from "../../offline/reconnect.js";

/**
 * @typedef {object} TypedReading
 * @property {string} machine
 * @property {string} channel
 * @property {number} at_ms
 * @property {number} value in °C
 * @property {string} name of the channel
 * @property {string} typed
 * @property {string} [reason] why it was refused
 */

const EVERY_MS = 5000;
const form = byId("reading", HTMLFormElement);
const field = find(form, "[name=value]", HTMLInputElement);
const time = find(form, "[name=at_ms]", HTMLInputElement);
const rows = byId("kept");
const note = byId("typed-waits");
const { machine = "", unit = "" } = form.dataset;
let isSending = false;

/** @returns {TypedReading[]} */
const stored = () => JSON.parse(localStorage.getItem(TYPED_READINGS) ?? "[]");
const waiting = () => stored().filter((one) => one.machine === machine && !one.reason);
const refused = () => stored().filter((one) => one.machine === machine && one.reason);
/**
 * Whether two are the same reading: a person types one at a time.
 * @type {(one: TypedReading, other: TypedReading) => boolean}
 */
const isSame = (one, other) => one.machine === other.machine && one.at_ms === other.at_ms;

/**
 * Remove some readings, and add or replace others.
 * @param {TypedReading[]} gone
 * @param {TypedReading[]} added
 */
function replace(gone, added = []) {
  const left = stored().filter((one) => !gone.some((other) => isSame(one, other)));
  localStorage.setItem(TYPED_READINGS, JSON.stringify([...left, ...added]));
}

/**
 * The typed value in °C; NaN if the server has to report the error.
 * @param {string} text
 */
function celsius(text) {
  const typed = parseNumber(text);
  return unit === "°F" ? Math.round(((typed - 32) * 500) / 9) / 100 : typed;
}

const timeText = (/** @type {TypedReading} */ { at_ms: atMs }) => new Date(atMs).toLocaleTimeString("en-GB");
const valueText = (/** @type {TypedReading} */ { typed }) => `${decimal(typed.replace(",", "."))}\u00a0${unit}`;
const typedAnew = () => field.dispatchEvent(new Event("input", { bubbles: true }));

/** @param {TypedReading} reading */
function row(reading) {
  const element = document.createElement("div");
  element.className = "row";
  element.dataset.atMs = String(reading.at_ms);
  const lead = document.createElement("span");
  lead.className = "lead";
  lead.textContent = [timeText(reading), reading.name].join(" · ");
  const value = document.createElement("strong");
  value.textContent = valueText(reading);
  element.append(lead, value);
  return element;
}

function tellWaiting() {
  const count = waiting().length;
  note.hidden = !count;
  find(note, "*").textContent = tn(
    "1 reading is saved on this device. It is sent automatically, with its time.",
    "{n} readings are saved on this device. They are sent automatically, with their times.",
    count,
  );
}

/** @param {TypedReading} reading */
function tellRefused(reading) {
  rows.querySelector(`[data-at-ms="${reading.at_ms}"]`)?.remove();
  notice({
    text: t("Not saved: {value} at {time}. {reason} Change or remove it.", {
      value: valueText(reading),
      time: timeText(reading),
      reason: reading.reason ?? "",
    }),
    refused: true,
    onDismiss: () => replace([reading]),
    onAction: (close) => {
      close();
      edit(reading);
    },
  });
}

/**
 * Put a reading back into the form, with its time; the stored one stays until its replacement is saved.
 * @param {TypedReading} reading
 */
function edit({ typed, at_ms: atMs, channel }) {
  for (const choice of findAll(form, "input[type=radio]", HTMLInputElement)) choice.checked = choice.value === channel;
  field.value = typed;
  time.value = String(atMs);
  typedAnew();
  find(form, "[data-key=back]").focus(); // focus on the field would open the phone's own keyboard
}

async function send() {
  const sending = waiting();
  if (isSending || !sending.length) return;
  isSending = true;
  try {
    const readings = sending.map(({ channel, at_ms, value }) => ({ channel, at_ms, value }));
    const answer = await fetchWithTimeout(`/api/machines/${encodeURIComponent(machine)}/readings`, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ readings }),
    });
    if (!answer.ok) throw new Error(`the server answered ${answer.status}`);
    /** @type {{ refused: { index: number, reason: string }[] }} */
    const { refused: back } = await answer.json();
    const returned = back.map(({ index, reason }) => ({ ...sending[index], reason }));
    replace(sending, returned);
    tellWaiting();
    returned.forEach(tellRefused);
  } catch {
    tellWaiting(); // they are sent with the next attempt
  }
  isSending = false;
}

form.addEventListener("submit", (event) => {
  const channel = String(new FormData(form).get("channel") ?? "");
  const reading = { machine, channel, at_ms: Number(time.value), value: celsius(field.value) };
  if (!reading.at_ms || !(Math.abs(reading.value) < 1000)) return;
  const chosen = form.querySelector("input[name=channel]:checked")?.parentElement;
  const label = chosen ?? form.querySelector("label[for=value]");
  const shown = { ...reading, name: label?.textContent?.trim() ?? "", typed: field.value };
  try {
    replace([shown], [shown]);
  } catch {
    return; // no storage here: submit the form
  }
  event.preventDefault();
  document.getElementById("nothing-kept")?.remove();
  rows.prepend(row(shown));
  field.value = time.value = "";
  typedAnew();
  send();
});

for (const reading of waiting()) rows.prepend(row(reading));
refused().forEach(tellRefused);
tellWaiting();
send();
onReconnect(send);
setInterval(send, EVERY_MS);
