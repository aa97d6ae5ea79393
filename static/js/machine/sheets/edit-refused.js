// A refused entry, changed and sent again: its time, its value, the batch that it is about.
import { newId } from "../../offline/outbox.js";
import { typedNumber, whyNot } from "../../core/number-input.js";
import { t } from "../../core/words.js";

const FIELDS = {
  move: [["setting", t("Setting")]],
  note: [["text", t("Note")]],
  weighed: [["roasted_g", t("Roasted, in grams")], ["removed_g", t("Sorted out, in grams")]],
};
const $ = (id) => document.getElementById(id);
const two = (number) => String(number).padStart(2, "0");

/** “14:02:37”, as a time field has it. */
function clockOf(atMs) {
  const at = new Date(atMs);
  return [at.getHours(), at.getMinutes(), at.getSeconds()].map(two).join(":");
}

/** The same day at another time; a time that was left as it is keeps its milliseconds. */
function movedTo(atMs, text) {
  if (text === clockOf(atMs)) return atMs;
  return new Date(atMs).setHours(...text.split(":").map(Number));
}

function field(body, [name, label]) {
  const box = document.createElement("div");
  box.className = "field";
  const words = document.createElement("label");
  const input = document.createElement("input");
  input.autocomplete = "off";
  box.append(words, input);
  words.htmlFor = input.id = `mend-${name}`;
  words.textContent = label;
  input.value = body[name] ?? "";
  input.name = name;
  if (name !== "text") input.inputMode = "decimal";
  return box;
}

export class Mend {
  constructor({ sheets, state, outbox }) {
    Object.assign(this, { state, outbox, sheet: sheets.element("mend") });
    $("mend-form").addEventListener("submit", (event) => {
      event.preventDefault();
      this.#send();
    });
  }

  open({ entry, reason, onSent }) {
    Object.assign(this, { entry, onSent });
    $("mend-why").textContent = reason;
    $("mend-time").value = clockOf(entry.at_ms);
    $("mend-fields").replaceChildren(...(FIELDS[entry.kind] ?? []).map((one) => field(entry.body, one)));
    const { batch } = this.state;
    $("mend-here").hidden = entry.kind === "opened" || batch === null || batch === entry.batch;
    $("mend-batch").checked = false;
    $("mend-said").textContent = "";
    this.sheet.showModal();
  }

  #send() {
    const { entry } = this;
    const body = { ...entry.body };
    for (const input of $("mend-fields").querySelectorAll("input")) {
      const typed = input.value.trim();
      const value = input.name === "text" ? typed : typed ? typedNumber(typed) : 0;
      if (input.name !== "text" && !Number.isFinite(value)) return void ($("mend-said").textContent = whyNot(typed));
      if (typed) body[input.name] = value;
      else delete body[input.name];
    }
    if (!$("mend-time").value) return void ($("mend-said").textContent = t("Give the time at which it was."));
    const batch = $("mend-batch").checked ? this.state.batch : entry.batch;
    this.outbox.mend(entry.id, { ...entry, id: newId(), batch, body, at_ms: movedTo(entry.at_ms, $("mend-time").value) });
    this.sheet.close();
    this.onSent();
    return undefined;
  }
}
