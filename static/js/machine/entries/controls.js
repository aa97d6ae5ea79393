// The row of controls and their sheet: − and + by the control's step, or a value. Presses close together are one move.
import "../../core/keypad.js";
import { stopwatch } from "../../core/clock.js";
import { say } from "../screen/numbers.js";
import { typedNumber, whyNot } from "../../core/number-input.js";
import { decimal, t } from "../../core/words.js";

const SETTLED_MS = 1200;
const $ = (id) => document.getElementById(id);

export class Controls {
  constructor({ state, clock, voice, sheets }) {
    Object.assign(this, { state, clock, voice, sheets });
    this.buttons = [...document.querySelectorAll("[data-control]")];
    for (const button of this.buttons) button.addEventListener("click", () => this.#open(button.dataset.control));
    $("control-less").addEventListener("click", () => this.step(-1));
    $("control-more").addEventListener("click", () => this.step(1));
    $("control-form").addEventListener("submit", (event) => this.#direct(event));
    $("control-direct").addEventListener("input", () => this.#complain(""));
    sheets.element("control").addEventListener("close", () => this.#settle());
    state.addEventListener("change", () => this.draw());
  }

  #text(control, setting) {
    return setting === null ? "–" : decimal(setting.toFixed(control.decimals).replace("-", "−"));
  }

  draw() {
    for (const control of this.state.view.controls) {
      const button = this.buttons.find((one) => one.dataset.control === control.id);
      const setting = this.control?.id === control.id && this.wanted !== null ? this.wanted : this.state.setting(control.id);
      if (button) say(button.lastElementChild, this.#text(control, setting));
    }
  }

  #open(id) {
    this.#take(id);
    const { name, low, high, unit } = this.control;
    say($("control-name"), name);
    const range = unit && unit !== "step" ? `${decimal(`${high}`)} ${unit}` : decimal(`${high}`);
    say($("control-range"), t("{low} to {high}, in steps of {step}", { low: decimal(`${low}`), high: range, step: decimal(`${this.control.step}`) }));
    $("control-direct").value = "";
    this.#complain("");
    say($("control-value"), this.#text(this.control, this.shown));
    this.sheets.open("control");
  }

  /** The control that − and + are about from now on. */
  #take(id) {
    this.#settle(); // what was pressed for another one
    this.control = this.state.view.controls.find((control) => control.id === id);
    this.wanted = null;
    this.shown = this.state.setting(id);
    for (const button of this.buttons) button.classList.toggle("chosen", button.dataset.control === id);
  }

  /** By keys, without the sheet: the next control or the one before; what it is and stands at. */
  turn(by) {
    const ids = this.buttons.map((button) => button.dataset.control);
    if (!ids.length) return t("This machine has no control to set");
    const at = ids.indexOf(this.control?.id);
    this.#take(ids[at < 0 ? (by > 0 ? 0 : ids.length - 1) : (at + by + ids.length) % ids.length]);
    return `${this.control.name} ${this.#text(this.control, this.shown)}`;
  }

  /** By keys: one step of the control that is chosen; what it stands at now, or why it does not. */
  nudge(sign) {
    if (!this.control) return this.turn(1);
    if (this.wanted === null) this.shown = this.state.setting(this.control.id);
    this.step(sign);
    return $("control-said").textContent || `${this.control.name} ${this.#text(this.control, this.shown)}`;
  }

  step(sign) {
    const { low, high, step, decimals } = this.control;
    const from = this.shown ?? low; // not what is read off the machine: it may still be on its way to the last press
    const to = Number((from + sign * step).toFixed(Math.max(decimals, 3)));
    if (to < low || to > high) return this.#complain(t("{control} goes from {low} to {high}.", { control: this.control.name, low: decimal(`${low}`), high: decimal(`${high}`) }));
    return this.#want(to);
  }

  #want(setting) {
    this.wanted = this.shown = setting;
    this.wantedAt = this.clock.now();
    this.#complain("");
    say($("control-value"), this.#text(this.control, setting));
    this.draw();
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.#settle(), SETTLED_MS);
  }

  #direct(event) {
    event.preventDefault();
    const typed = $("control-direct").value.trim();
    const { name, low, high, decimals } = this.control;
    if (!typed) return this.#complain(t("Type a value, or use − and +."));
    const number = typedNumber(typed);
    if (Number.isNaN(number)) return this.#complain(whyNot(typed));
    const setting = Number(number.toFixed(decimals));
    if (setting < low || setting > high) return this.#complain(t("{control} goes from {low} to {high}; {typed} is outside.", { control: name, low: decimal(`${low}`), high: decimal(`${high}`), typed }));
    this.#want(setting);
    return this.sheets.close("control");
  }

  #complain(text) {
    say($("control-said"), text);
    $("control-direct").setAttribute("aria-invalid", Boolean(text));
  }

  /** The value has stood still, or the sheet was closed: it is one move, made at the last press. */
  #settle() {
    clearTimeout(this.timer);
    const { control, wanted, wantedAt: atMs } = this;
    this.wanted = null;
    if (wanted === null || !control || wanted === this.state.setting(control.id)) return;
    const timeS = this.state.since(atMs);
    const made = `${control.name} ${this.#text(control, wanted)}`;
    const text = timeS === null ? made : t("{what} at {time}", { what: made, time: stopwatch(timeS) });
    this.voice.say("move", { control: control.id, setting: wanted }, { text, atMs });
  }
}
