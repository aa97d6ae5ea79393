// A reading that a person typed goes the way of a tap: saved here with its time, then sent; without a network it waits.
// It may be sent any number of times: a channel has one value at one time. What the server refuses stays here with its
// reason, to be changed or put away. What this script cannot read goes as a form.
import { notice } from "../../core/notice.js";
import { soon } from "../../core/fetch-timeout.js";
import { typedNumber } from "../../core/number-input.js";
import { decimal, t, tn } from "../../core/words.js";

const KEY = "drumside-typed";
const EVERY_MS = 5000;
const form = document.getElementById("reading");
const rows = document.getElementById("kept");
const says = document.getElementById("typed-waits");
const { machine, unit } = form.dataset;
let sending = false;

const kept = () => JSON.parse(localStorage.getItem(KEY) ?? "[]");
const ours = () => kept().filter((one) => one.machine === machine && !one.reason);
const refused = () => kept().filter((one) => one.machine === machine && one.reason);
const same = (one, other) => one.machine === other.machine && one.at_ms === other.at_ms; // a finger types one at a time
/** Some are gone, some are new or stand in place of those. */
const keep = (gone, come = []) => localStorage.setItem(KEY, JSON.stringify([...kept().filter((one) => !gone.some((other) => same(one, other))), ...come]));

/** What was typed, in °C; NaN for what only the server can make a sentence of. */
function celsius(text) {
  const typed = typedNumber(text);
  return unit === "°F" ? Math.round(((typed - 32) * 500) / 9) / 100 : typed;
}

const hour = ({ at_ms: atMs }) => new Date(atMs).toLocaleTimeString("en-GB");
const shows = ({ typed }) => `${decimal(typed.replace(",", "."))}\u00a0${unit}`;

function line(reading) {
  const row = document.createElement("div");
  row.className = "row";
  row.dataset.atMs = reading.at_ms;
  const lead = document.createElement("span");
  lead.className = "lead";
  lead.textContent = [hour(reading), reading.name].join(" · ");
  const value = document.createElement("strong");
  value.textContent = shows(reading);
  row.append(lead, value);
  return row;
}

function tellWaiting() {
  const count = ours().length;
  says.hidden = !count;
  says.firstElementChild.textContent = tn("1 reading is saved on this device and waits for the server. It is sent by itself, with its time.", "{n} readings are saved on this device and wait for the server. They are sent by themselves, with their times.", count);
}

function tellRefused(reading) {
  rows.querySelector(`[data-at-ms="${reading.at_ms}"]`)?.remove();
  const [value, time] = [shows(reading), hour(reading)];
  notice({
    id: reading.at_ms,
    text: t("{value} at {time} was not kept. {reason} Change it, or put it away.", { value, time, reason: reading.reason }),
    refused: true,
    onDismiss: () => keep([reading]),
    onMend: (sent) => {
      sent();
      change(reading);
    },
  });
}

/** Back into the form, with its time; it stays here until what comes of it is kept in its place. */
function change({ typed, at_ms: atMs, channel }) {
  const { value, at_ms: at } = form.elements;
  for (const choice of form.querySelectorAll("input[type=radio]")) choice.checked = choice.value === channel;
  value.value = typed;
  at.value = atMs;
  value.dispatchEvent(new Event("input", { bubbles: true }));
  form.querySelector("[data-key=back]").focus(); // the field itself would call up the phone's own keyboard
}

async function send() {
  const waiting = ours();
  if (sending || !waiting.length) return;
  sending = true;
  try {
    const readings = waiting.map(({ channel, at_ms, value }) => ({ channel, at_ms, value }));
    const answer = await soon(`/api/machines/${encodeURIComponent(machine)}/readings`, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ readings }),
    });
    if (!answer.ok) throw new Error(`the server answered ${answer.status}`);
    const back = (await answer.json()).refused.map(({ index, reason }) => ({ ...waiting[index], reason }));
    keep(waiting, back);
    tellWaiting();
    back.forEach(tellRefused);
  } catch {
    tellWaiting(); // they are sent with the next try
  }
  sending = false;
}

form.addEventListener("submit", (event) => {
  const { value, at_ms: at, channel } = form.elements;
  const reading = { machine, channel: channel.value, at_ms: Number(at.value), value: celsius(value.value) };
  if (!reading.at_ms || !(Math.abs(reading.value) < 1000)) return;
  const label = form.querySelector("input[name=channel]:checked")?.parentElement ?? form.querySelector("label[for=value]");
  const shown = { ...reading, name: label.textContent.trim(), typed: value.value };
  try {
    keep([reading], [shown]);
  } catch {
    return; // no storage here: as a form
  }
  event.preventDefault();
  document.getElementById("nothing-kept")?.remove();
  rows.prepend(line(shown));
  value.value = at.value = "";
  value.dispatchEvent(new Event("input", { bubbles: true }));
  send();
});

for (const shown of ours()) rows.prepend(line(shown));
refused().forEach(tellRefused);
tellWaiting();
send();
addEventListener("online", send);
document.addEventListener("visibilitychange", () => document.hidden || send());
setInterval(send, EVERY_MS);
