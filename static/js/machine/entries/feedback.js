// What was just said, how far it got, and ten seconds to take it back or to say that it was a little ago.
import { say as put } from "../screen/numbers.js";
import { temp } from "../../core/units.js";
import { t } from "../../core/words.js";

const FRESH_MS = 10_000;
const REMARK_MS = 5000; // long enough to be read, whatever others say meanwhile
const LONG = 20; // letters that fit on one line everywhere
const SIGNS = { pressed: t("● pressed"), saved: t("◐ saved here"), held: t("◐ held in this page only"), sent: t("✓ on the server"), refused: t("✕ refused") };
const $ = (id) => document.getElementById(id);

/** A long line takes two smaller ones: what was said is never cut in the middle of a word. */
function say(element, text) {
  put(element, text);
  if (element.id !== "echo" || text.length < LONG) return void element.classList.remove("long");
  requestAnimationFrame(() => {
    element.classList.remove("long");
    element.classList.toggle("long", element.scrollWidth > element.clientWidth);
  });
}

/** A line of the log in full: “First crack 8:42 · 196.4 °C”, “Radiant to 4.5 · 5:10”. */
export function lineText({ kind, text, clock, temp_c: tempC }) {
  const time = clock ? (kind === "moment" ? ` ${clock}` : ` · ${clock}`) : "";
  return `${text}${time}${Number.isFinite(tempC) ? ` · ${temp(tempC)}` : ""}`;
}

export class Echo {
  constructor() {
    this.now = null;
    this.lasting = true;
    this.remarkedAt = -Infinity;
    this.onUndo = this.onShift = () => {};
    $("actions-fresh").addEventListener("click", ({ target }) => {
      const button = target.closest("button");
      if (!button || !this.now) return;
      if (button.dataset.shiftEcho) this.onShift(this.now, Number(button.dataset.shiftEcho));
      else this.onUndo(this.now);
    });
  }

  show({ id, text, shiftable = true }) {
    this.now = { id, text, latest: id, shiftedS: 0 };
    say($("echo"), text);
    this.state(id, "pressed");
    for (const button of document.querySelectorAll("[data-shift-echo]")) button.disabled = !shiftable;
    this.#stay();
  }

  /** What was said last before this page was opened, and waits here yet. */
  recall({ id, text }) {
    this.now = { id, text, latest: id, shiftedS: 0 };
    say($("echo"), text);
    this.state(id, "saved");
  }

  /** The shown thing was a little ago; `by` is the shift's id, whose way to the server is now the one that counts. */
  moved({ id, by, text }) {
    if (this.now?.id !== id) this.show({ id, text });
    this.now.latest = by;
    say($("echo"), text);
    this.state(by, "pressed");
    this.#stay();
  }

  /** Undo of what is shown, while it can be taken back from here. */
  takeBack() {
    if (this.fresh && this.now) this.onUndo(this.now);
  }

  /** The server's own words for what is shown: it knows the temperature of a moment that was moved. */
  told(log) {
    const line = this.now && log.find(({ entry }) => entry === this.now.id);
    // One's own stays while it can be taken back from here, and until the server has it.
    if (!line || !(this.fresh || this.reached !== "sent")) return void (this.fresh || performance.now() - this.remarkedAt < REMARK_MS || this.#last(log));
    this.now.text = lineText(line);
    this.now.shiftedS = 0;
    say($("echo"), this.now.text);
  }

  /** With nothing fresh of one's own, what anyone said last. */
  #last(log) {
    const line = log.find(({ time_s: timeS }) => timeS !== null) ?? log[0];
    if (!line) return;
    this.now = null;
    say($("echo"), lineText(line));
    this.sign(line.by ?? "", "");
  }

  remark(text) {
    this.now = null;
    this.remarkedAt = performance.now();
    say($("echo"), text);
    this.sign("", "");
    this.#quiet();
  }

  state(id, state) {
    if (this.now?.latest !== id) return;
    this.sign(SIGNS[state === "saved" && !this.lasting ? "held" : state], state);
  }

  sign(text, state) {
    this.reached = state;
    say($("echo-state"), text);
    $("echo-state").dataset.state = state;
  }

  #stay() {
    clearTimeout(this.timer);
    this.fresh = true;
    $("actions-fresh").hidden = false;
    $("actions-idle").hidden = true;
    this.timer = setTimeout(() => this.#quiet(), FRESH_MS);
  }

  #quiet() {
    // Whoever has the keyboard on one of these buttons is not done with it.
    if ($("actions-fresh").contains(document.activeElement) && document.activeElement.matches(":focus-visible")) return void this.#stay();
    this.fresh = false;
    $("actions-fresh").hidden = true;
    $("actions-idle").hidden = false;
  }
}
