// Sheets: a dialog from the bottom of the screen. Its entry gets the time at which it was opened: that is when the
// trier came out, or the smell was there; choosing the word takes longer.
import { stopwatch } from "../../core/clock.js";
import { degrees } from "../../core/units.js";

export class Sheets {
  constructor({ state, clock, numbers }) {
    Object.assign(this, { state, clock, numbers });
    this.openers = {};
    document.addEventListener("click", (event) => {
      const opener = event.target.closest("[data-sheet]");
      if (opener) this.open(opener.dataset.sheet, event.timeStamp);
      if (event.target.closest("[data-close]") || event.target.matches("dialog.sheet")) event.target.closest("dialog").close();
    });
  }

  /** What to do when a sheet opens. */
  on(name, prepare) {
    (this.openers[name] ??= []).push(prepare);
  }

  element(name) {
    return document.getElementById(`sheet-${name}`);
  }

  open(name, timeStamp, detail) {
    const sheet = this.element(name);
    this.atMs = this.clock.now(timeStamp);
    const timeS = this.state.since(this.atMs);
    const { temp, channelShort } = this.numbers;
    const at = sheet.querySelector("[data-at]");
    if (at) at.textContent = timeS === null ? "" : stopwatch(timeS);
    const context = sheet.querySelector("[data-context]");
    if (context) context.textContent = [temp === null ? "" : `${channelShort} ${degrees(temp)}°`, this.state.phaseWord].filter(Boolean).join(" · ");
    this.openers[name]?.forEach((prepare) => prepare(sheet, detail));
    for (const other of document.querySelectorAll("dialog.sheet[open]")) other.close(); // one leads to another
    sheet.showModal();
  }

  close(name) {
    this.element(name).close();
  }

  /** " 6:12", or nothing before charge: for the echo of what a sheet said. */
  get when() {
    const timeS = this.state.since(this.atMs);
    return timeS === null ? "" : ` ${stopwatch(timeS)}`;
  }
}
