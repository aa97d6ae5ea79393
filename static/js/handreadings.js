// A reading that a person typed goes the way of a tap: saved here with its time, then sent; without a network it waits.
// It may be sent any number of times: a channel has one value at one time. What this script cannot read goes as a form.
import { soon } from "./soon.js";
import { typedNumber } from "./typed.js";
import { decimal, t, tn } from "./words.js";

const KEY = "drumside-typed";
const EVERY_MS = 5000;
const form = document.getElementById("reading");
const rows = document.getElementById("kept");
const says = document.getElementById("typed-waits");
const { machine, unit } = form.dataset;
let sending = false;

const kept = () => JSON.parse(localStorage.getItem(KEY) ?? "[]");
const ours = () => kept().filter((one) => one.machine === machine);
const keep = (all) => localStorage.setItem(KEY, JSON.stringify(all));
const same = (one, other) => one.machine === other.machine && one.channel === other.channel && one.at_ms === other.at_ms;
const forget = (gone) => keep(kept().filter((one) => !gone.some((other) => same(one, other))));

/** What was typed, in °C; NaN for what only the server can make a sentence of. */
function celsius(text) {
  const typed = typedNumber(text);
  return unit === "°F" ? Math.round(((typed - 32) * 500) / 9) / 100 : typed;
}

function line({ at_ms: atMs, name, typed }) {
  const row = document.createElement("div");
  row.className = "row";
  const lead = document.createElement("span");
  lead.className = "lead";
  const hour = new Date(atMs).toLocaleTimeString("en-GB");
  lead.textContent = [hour, name].join(" · ");
  const value = document.createElement("strong");
  value.textContent = `${decimal(typed.replace(",", "."))}\u00a0${unit}`;
  row.append(lead, value);
  return row;
}

function tell(text, kind = "flagged") {
  says.className = `notice ${kind}`;
  says.firstElementChild.textContent = text;
  says.hidden = !text;
}

function tellWaiting() {
  const count = ours().length;
  tell(count ? tn("1 reading is saved on this device and waits for the server. It is sent by itself, with its time.", "{n} readings are saved on this device and wait for the server. They are sent by themselves, with their times.", count) : "");
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
    const { refused } = await answer.json();
    forget(waiting);
    tellWaiting();
    if (refused.length) tell(t("Not kept: {reasons}", { reasons: refused.map(({ reason }) => reason).join(" ") }), "refused");
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
    keep([...kept(), shown]);
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
tellWaiting();
send();
addEventListener("online", send);
document.addEventListener("visibilitychange", () => document.hidden || send());
setInterval(send, EVERY_MS);
