// Shows the newest entry and its progress, with ten seconds to undo it or to shift it back in time.
import { byId, closest, find, findAll, setText } from "../../core/dom.js";
import { temp } from "../../core/units.js";
import { t } from "../../core/words.js";

const FRESH_MS = 10_000;
const MESSAGE_MS = 5000; // long enough to read, even if others enter something meanwhile
const LONG = 20; // letters that fit on one line on every device
/** @type {Record<string, string>} */
const SIGNS = {
  pressed: t("● pressed"),
  saved: t("◐ saved here"),
  held: t("◐ on this page only"),
  sent: t("✓ on the server"),
  refused: t("✕ refused"),
};

/** @param {string} text */
function showText(text) {
  const element = byId("echo");
  setText(element, text);
  // A long text takes two smaller lines: a word is never cut.
  if (text.length < LONG) {
    element.classList.remove("long");
    return;
  }
  requestAnimationFrame(() => {
    element.classList.remove("long");
    element.classList.toggle("long", element.scrollWidth > element.clientWidth);
  });
}

/**
 * A log line in full: “First crack 8:42 · 196.4 °C”, “Radiant to 4.5 · 5:10”.
 * @param {Pick<LogLine, "kind" | "text" | "clock" | "temp_c">} line
 */
export function lineText({ kind, text, clock, temp_c: tempC }) {
  const time = clock ? (kind === "moment" ? ` ${clock}` : ` · ${clock}`) : "";
  return `${text}${time}${tempC !== null && Number.isFinite(tempC) ? ` · ${temp(tempC)}` : ""}`;
}

export class Feedback {
  isDurable = true;
  /** @type {(shown: Shown) => void} */
  onUndo = () => {};
  /** @type {(shown: Shown) => void} */
  onBringBack = () => {};
  /** @type {(shown: Shown, byS: number) => void} */
  onShift = () => {};
  /** @type {Shown | null} */
  #shown = null;
  #isFresh = false;
  #reached = "";
  #messageAt = -Infinity;
  #timer = 0;

  constructor() {
    byId("actions-fresh").addEventListener("click", (event) => {
      const button = closest(event, "button");
      if (!button || !this.#shown) return;
      if (button.dataset.shiftEcho) this.onShift(this.#shown, Number(button.dataset.shiftEcho));
      else this.onBringBack(this.#shown);
    });
  }

  /**
   * Show an entry. `undone` is the text of the entry that it undoes, which can be brought back.
   * @param {{ id: string, text: string, shiftable?: boolean, undone?: string }} entry
   */
  show({ id, text, shiftable = true, undone = "" }) {
    this.#shown = { id, text, undone, latestId: id, shiftedS: 0 };
    showText(text);
    this.setState(id, "pressed");
    for (const button of findAll(document, "[data-shift-echo]", HTMLButtonElement)) button.hidden = !shiftable;
    find(document, "[data-bring-back]", HTMLButtonElement).hidden = !undone;
    this.#stayFresh();
  }

  /**
   * Show the last entry of an earlier page, which still waits here.
   * @param {{ id: string, text: string }} entry
   */
  restore({ id, text }) {
    this.#shown = { id, text, undone: "", latestId: id, shiftedS: 0 };
    showText(text);
    this.setState(id, "saved");
  }

  /**
   * The entry was shifted in time; from now on the progress of the shift is shown.
   * @param {{ id: string, shiftId: string, text: string }} shift
   */
  showShift({ id, shiftId, text }) {
    if (this.#shown?.id !== id) this.show({ id, text });
    if (this.#shown) this.#shown.latestId = shiftId;
    showText(text);
    this.setState(shiftId, "pressed");
    this.#stayFresh();
  }

  /** Undo the displayed entry while it is fresh; one that is itself an undo is taken back. */
  undoShown() {
    if (!this.#isFresh || !this.#shown) return;
    if (this.#shown.undone) this.onBringBack(this.#shown);
    else this.onUndo(this.#shown);
  }

  /**
   * Use the server's text for the displayed entry: it knows the temperature of a shifted moment.
   * @param {LogLine[]} log
   */
  update(log) {
    const shown = this.#shown;
    const line = shown && log.find(({ entry }) => entry === shown.id);
    // An own entry stays while it can be undone from here, and until the server has it.
    if (line && (this.#isFresh || this.#reached !== "sent")) {
      shown.text = [lineText(line), ...line.flags].join(" · ");
      shown.shiftedS = 0;
      showText(shown.text);
    } else if (!this.#isFresh && performance.now() - this.#messageAt >= MESSAGE_MS) this.#showNewest(log);
  }

  /**
   * Without a recent own entry, show the last one of anybody.
   * @param {LogLine[]} log
   */
  #showNewest(log) {
    const line = log.find(({ time_s: timeS }) => timeS !== null) ?? log[0];
    if (!line) return;
    this.#shown = null;
    showText(lineText(line));
    this.#showSign(line.by ?? "", "");
  }

  /**
   * Show a message that does not refer to an entry.
   * @param {string} text
   */
  showMessage(text) {
    this.#shown = null;
    this.#messageAt = performance.now();
    showText(text);
    this.#showSign("", "");
    this.#settle();
  }

  /**
   * Show the progress of an entry: pressed, saved, sent or refused.
   * @param {string} id
   * @param {string} state
   */
  setState(id, state) {
    if (this.#shown?.latestId !== id) return;
    this.#showSign(SIGNS[state === "saved" && !this.isDurable ? "held" : state], state);
  }

  /**
   * @param {string} text
   * @param {string} state
   */
  #showSign(text, state) {
    this.#reached = state;
    const sign = byId("echo-state");
    setText(sign, text);
    sign.dataset.state = state;
  }

  #stayFresh() {
    clearTimeout(this.#timer);
    this.#isFresh = true;
    byId("actions-fresh").hidden = false;
    this.#timer = setTimeout(() => this.#settle(), FRESH_MS);
  }

  #settle() {
    const { activeElement } = document;
    // Keep a button that has the keyboard focus.
    if (byId("actions-fresh").contains(activeElement) && activeElement?.matches(":focus-visible")) {
      this.#stayFresh();
      return;
    }
    this.#isFresh = false;
    byId("actions-fresh").hidden = true;
  }
}
