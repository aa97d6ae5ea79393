// Sheets: a dialog at the bottom of the screen. Its entry gets the time at which it was opened, when the trier was
// pulled or the smell noticed; choosing the word takes longer.
import { byId, closest, findAll } from "../../core/dom.js";
import { clockText } from "../../core/duration.js";
import { degrees } from "../../core/units.js";

export class Sheets {
  /** @type {Record<string, (() => void)[]>} */
  #prepare = {};

  /**
   * @param {object} parts
   * @param {import("../state/state.js").State} parts.state
   * @param {import("../../core/clock.js").Clock} parts.clock
   * @param {import("../screen/numbers.js").Numbers} parts.numbers
   */
  constructor({ state, clock, numbers }) {
    this.state = state;
    this.clock = clock;
    this.numbers = numbers;
    this.atMs = clock.now();
    document.addEventListener("click", (event) => {
      const name = closest(event, "[data-sheet]")?.dataset.sheet;
      if (name) this.open(name, event.timeStamp);
      const isBackdrop = event.target instanceof Element && event.target.matches("dialog.sheet");
      if (isBackdrop || closest(event, "[data-close]")) closest(event, "dialog", HTMLDialogElement)?.close();
    });
  }

  /**
   * Set a function to call when a sheet opens.
   * @param {string} name
   * @param {() => void} prepare
   */
  onOpen(name, prepare) {
    (this.#prepare[name] ??= []).push(prepare);
  }

  /** @param {string} name */
  element(name) {
    return byId(`sheet-${name}`, HTMLDialogElement);
  }

  /**
   * @param {string} name
   * @param {number} [timeStamp]
   */
  open(name, timeStamp) {
    const sheet = this.element(name);
    this.atMs = this.clock.now(timeStamp);
    const timeS = this.state.secondsFromCharge(this.atMs);
    const { tempC, channelShort } = this.numbers;
    const at = sheet.querySelector("[data-at]");
    if (at) at.textContent = timeS === null ? "" : clockText(timeS);
    const context = sheet.querySelector("[data-context]");
    const now = tempC === null ? "" : `${channelShort} ${degrees(tempC)}°`;
    if (context) context.textContent = [now, this.state.phaseWord].filter(Boolean).join(" · ");
    this.#prepare[name]?.forEach((prepare) => prepare());
    // One sheet may open another.
    for (const other of findAll(document, "dialog.sheet[open]", HTMLDialogElement)) other.close();
    sheet.showModal();
  }

  /** @param {string} name */
  close(name) {
    this.element(name).close();
  }

  /** " 6:12", or empty before charge: for the text of an entry made in a sheet. */
  get when() {
    const timeS = this.state.secondsFromCharge(this.atMs);
    return timeS === null ? "" : ` ${clockText(timeS)}`;
  }
}
