// Corrects a refused entry and sends it again: its time, its value, its batch.
import { byId, findAll } from "../../core/dom.js";
import { numberError, parseNumber } from "../../core/number-input.js";
import { t } from "../../core/words.js";
import { newId } from "../../offline/outbox.js";

/** @type {Record<string, [string, string][]>} */
const FIELDS = {
  move: [["setting", t("Setting")]],
  note: [["text", t("Note")]],
  weighed: [
    ["roasted_g", t("Roasted, in grams")],
    ["removed_g", t("Defects, in grams")],
  ],
};

/**
 * “14:02:37”, the format of a time field.
 * @param {number} atMs
 */
function timeOfDay(atMs) {
  const at = new Date(atMs);
  const parts = [at.getHours(), at.getMinutes(), at.getSeconds()];
  return parts.map((part) => String(part).padStart(2, "0")).join(":");
}

/**
 * The same day at another time; an unchanged time keeps its milliseconds.
 * @param {number} atMs
 * @param {string} text
 */
function atTimeOfDay(atMs, text) {
  if (text === timeOfDay(atMs)) return atMs;
  const [hours, minutes, seconds = 0] = text.split(":").map(Number);
  return new Date(atMs).setHours(hours, minutes, seconds);
}

/**
 * @param {Entry["body"]} body
 * @param {[string, string]} named
 */
function field(body, [name, label]) {
  const box = document.createElement("div");
  box.className = "field";
  const words = document.createElement("label");
  const input = document.createElement("input");
  input.autocomplete = "off";
  box.append(words, input);
  words.htmlFor = input.id = `edit-${name}`;
  words.textContent = label;
  input.value = body[name] ?? "";
  input.name = name;
  if (name !== "text") input.inputMode = "decimal";
  return box;
}

/** @typedef {{ entry: Entry, reason: string, onSent: () => void }} Refused */

export class EditRefused {
  /** @type {Refused | null} */
  #refused = null;

  /**
   * @param {object} parts
   * @param {import("./sheets.js").Sheets} parts.sheets
   * @param {import("../state/state.js").State} parts.state
   * @param {import("../../offline/outbox.js").Outbox} parts.outbox
   */
  constructor({ sheets, state, outbox }) {
    this.state = state;
    this.outbox = outbox;
    this.sheet = sheets.element("edit");
    this.time = byId("edit-time", HTMLInputElement);
    this.fields = byId("edit-fields");
    this.isCurrentBatch = byId("edit-batch", HTMLInputElement);
    byId("edit-form").addEventListener("submit", (event) => {
      event.preventDefault();
      if (this.#refused) this.#send(this.#refused);
    });
  }

  /** @param {Refused} refused */
  open(refused) {
    this.#refused = refused;
    const { entry, reason } = refused;
    const { batch } = this.state;
    byId("edit-why").textContent = reason;
    this.time.value = timeOfDay(entry.at_ms);
    this.fields.replaceChildren(...(FIELDS[entry.kind] ?? []).map((one) => field(entry.body, one)));
    byId("edit-here").hidden = entry.kind === "opened" || batch === null || batch === entry.batch;
    this.isCurrentBatch.checked = false;
    this.#showError("");
    this.sheet.showModal();
  }

  /** @param {string} text */
  #showError(text) {
    byId("edit-said").textContent = text;
  }

  /** @param {Refused} refused */
  #send({ entry, onSent }) {
    const body = { ...entry.body };
    for (const input of findAll(this.fields, "input", HTMLInputElement)) {
      const typed = input.value.trim();
      const value = input.name === "text" ? typed : typed ? parseNumber(typed) : 0;
      if (Number.isNaN(value)) {
        this.#showError(numberError(typed));
        return;
      }
      if (typed) body[input.name] = value;
      else delete body[input.name];
    }
    if (!this.time.value) {
      this.#showError(t("Enter the time."));
      return;
    }
    const batch = this.isCurrentBatch.checked ? this.state.batch : entry.batch;
    const at_ms = atTimeOfDay(entry.at_ms, this.time.value);
    this.outbox.correct(entry.id, { ...entry, id: newId(), batch, body, at_ms });
    this.sheet.close();
    onSent();
  }
}
