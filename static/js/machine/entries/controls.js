// The row of controls and their sheet: − and + by the control's step, or a typed value. Presses in quick succession are
// one move.
import { byId, findAll, setText } from "../../core/dom.js";
import { clockText } from "../../core/duration.js";
import "../../core/keypad.js";
import { numberError, parseNumber } from "../../core/number-input.js";
import { decimal, t } from "../../core/words.js";

const SETTLED_MS = 1200;
const shown = (/** @type {number} */ value) => decimal(`${value}`);

/**
 * @param {Control} control
 * @param {number | null} setting
 */
function settingText(control, setting) {
  return setting === null ? "–" : decimal(setting.toFixed(control.decimals).replace("-", "−"));
}

export class Controls {
  /** @type {Control | null} */
  #control = null; // the control that − and + change
  /** @type {number | null} */
  #wanted = null; // its new setting, while more presses may come
  /** @type {number | null} */
  #shown = null;
  #wantedAtMs = 0;
  #timer = 0;

  /**
   * @param {object} parts
   * @param {import("../state/state.js").State} parts.state
   * @param {import("../../core/clock.js").Clock} parts.clock
   * @param {import("./entries.js").Entries} parts.entries
   * @param {import("../sheets/sheets.js").Sheets} parts.sheets
   */
  constructor({ state, clock, entries, sheets }) {
    this.state = state;
    this.clock = clock;
    this.entries = entries;
    this.sheets = sheets;
    this.field = byId("control-direct", HTMLInputElement);
    this.buttons = findAll(document, "[data-control]");
    for (const button of this.buttons) button.addEventListener("click", () => this.#open(button.dataset.control ?? ""));
    byId("control-less").addEventListener("click", () => this.step(-1));
    byId("control-more").addEventListener("click", () => this.step(1));
    byId("control-form").addEventListener("submit", (event) => this.#setTyped(event));
    this.field.addEventListener("input", () => this.#showError(""));
    sheets.element("control").addEventListener("close", () => this.#settle());
    state.addEventListener("change", () => this.draw());
  }

  draw() {
    for (const control of this.state.view.controls) {
      const button = this.buttons.find((one) => one.dataset.control === control.id);
      const wanted = this.#control?.id === control.id ? this.#wanted : null;
      const text = settingText(control, wanted ?? this.state.setting(control.id));
      if (button?.lastElementChild) setText(button.lastElementChild, text);
    }
  }

  /** @param {string} id */
  #open(id) {
    const control = this.#choose(id);
    if (!control) return;
    if (control.is_read) {
      this.entries.feedback.showMessage(t("{name}: read from the machine", { name: control.name }));
      return;
    }
    const { name, low, high, step, unit } = control;
    setText(byId("control-name"), name);
    const range = unit && unit !== "step" ? `${shown(high)} ${unit}` : shown(high);
    const steps = { low: shown(low), high: range, step: shown(step) };
    setText(byId("control-range"), t("{low} to {high}, in steps of {step}", steps));
    this.field.value = "";
    this.#showError("");
    setText(byId("control-value"), settingText(control, this.#shown));
    this.sheets.open("control");
  }

  /**
   * Select the control that − and + change.
   * @param {string} id
   */
  #choose(id) {
    this.#settle(); // the presses for another one
    this.#control = this.state.view.controls.find((control) => control.id === id) ?? null;
    this.#wanted = null;
    this.#shown = this.state.setting(id);
    for (const button of this.buttons) button.classList.toggle("chosen", button.dataset.control === id);
    return this.#control;
  }

  /** The selected control and its setting. */
  get #chosenText() {
    const control = this.#control;
    return control ? `${control.name} ${settingText(control, this.#shown)}` : "";
  }

  /**
   * By keys, without the sheet: select the next or previous control; returns its name and setting.
   * @param {number} by
   */
  chooseNext(by) {
    const ids = this.buttons.map((button) => button.dataset.control ?? "");
    if (!ids.length) return t("This machine has no control to set");
    const at = ids.indexOf(this.#control?.id ?? "");
    const first = by > 0 ? 0 : ids.length - 1;
    this.#choose(ids[at < 0 ? first : (at + by + ids.length) % ids.length]);
    return this.#chosenText;
  }

  /**
   * By keys: move the selected control by one step; returns its new setting, or the reason why it cannot move.
   * @param {number} sign
   */
  stepChosen(sign) {
    if (!this.#control) return this.chooseNext(1);
    if (this.#control.is_read) return t("{name}: read from the machine", { name: this.#control.name });
    if (this.#wanted === null) this.#shown = this.state.setting(this.#control.id);
    this.step(sign);
    return byId("control-said").textContent || this.#chosenText;
  }

  /** @param {number} sign */
  step(sign) {
    const control = this.#control;
    if (!control) return;
    const { name, low, high, step, decimals } = control;
    const from = this.#shown ?? low; // not the value read from the machine: it may still lag behind the last press
    const to = Number((from + sign * step).toFixed(Math.max(decimals, 3)));
    if (to < low || to > high) {
      const limits = { control: name, low: shown(low), high: shown(high) };
      this.#showError(t("{control} is {low} to {high}.", limits));
    } else this.#want(control, to);
  }

  /**
   * @param {Control} control
   * @param {number} setting
   */
  #want(control, setting) {
    this.#wanted = this.#shown = setting;
    this.#wantedAtMs = this.clock.now();
    this.#showError("");
    setText(byId("control-value"), settingText(control, setting));
    this.draw();
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#settle(), SETTLED_MS);
  }

  /** @param {Event} event */
  #setTyped(event) {
    event.preventDefault();
    const control = this.#control;
    if (!control) return;
    const error = this.#errorOf(control, this.field.value.trim());
    this.#showError(error);
    if (error) return;
    this.#want(control, Number(parseNumber(this.field.value).toFixed(control.decimals)));
    this.sheets.close("control");
  }

  /**
   * The reason why a control cannot be set to a text; empty if it can.
   * @param {Control} control
   * @param {string} typed
   */
  #errorOf({ name, low, high, decimals }, typed) {
    if (!typed) return t("Type a value, or use − and +.");
    const number = parseNumber(typed);
    if (Number.isNaN(number)) return numberError(typed);
    const setting = Number(number.toFixed(decimals));
    if (setting >= low && setting <= high) return "";
    const limits = { control: name, low: shown(low), high: shown(high), typed };
    return t("{control} must be {low} to {high}, not {typed}.", limits);
  }

  /** @param {string} text */
  #showError(text) {
    setText(byId("control-said"), text);
    this.field.setAttribute("aria-invalid", String(Boolean(text)));
  }

  /** The value is final, or the sheet was closed: enter it as one move, at the time of the last press. */
  #settle() {
    clearTimeout(this.#timer);
    const control = this.#control;
    const setting = this.#wanted;
    const atMs = this.#wantedAtMs;
    this.#wanted = null;
    if (setting === null || !control || setting === this.state.setting(control.id)) return;
    const timeS = this.state.secondsFromCharge(atMs);
    const what = `${control.name} ${settingText(control, setting)}`;
    const text = timeS === null ? what : t("{what} at {time}", { what, time: clockText(timeS) });
    this.entries.add("move", { control: control.id, setting }, { text, atMs });
  }
}
