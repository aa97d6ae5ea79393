// Keeps the screen awake from the opening of a batch to its drop, where the browser can; says which it is, and why not.
import { say } from "./numbers.js";
import { t } from "../../core/words.js";

const WHY = {
  held: t("This screen is kept awake until the drop."),
  idle: t("This screen may sleep now. From the opening of a batch to its drop it is kept awake."),
  insecure: t("The browser keeps a screen awake on a secure page only. Open this one by https, or set a longer time in the device's own settings."),
  lacking: t("This browser cannot keep the screen awake. Set a longer time in the device's own settings."),
  refused: t("The device does not allow it now; a low battery is the usual reason. It is tried again at each touch."),
};

export class Wake {
  constructor(element, why) {
    Object.assign(this, { element, why });
    this.wanted = this.asking = this.refused = false;
    this.lock = null;
    document.addEventListener("visibilitychange", () => this.#hold());
    document.addEventListener("pointerdown", () => this.refused && this.#hold());
    this.#tell();
  }

  /** Wish for it, or no more. */
  want(wanted) {
    if (this.wanted === wanted) return;
    this.wanted = wanted;
    this.#hold();
  }

  async #hold() {
    if (this.asking) return; // it looks again by itself
    this.asking = true;
    if (!this.wanted) await this.lock?.release();
    else if (!document.hidden && !this.lock && navigator.wakeLock) await this.#ask();
    this.asking = false;
    this.#tell();
    if (!this.wanted && this.lock) this.#hold(); // the wish went while it was asked for
  }

  async #ask() {
    try {
      const lock = (this.lock = await navigator.wakeLock.request("screen"));
      this.refused = false;
      // It is taken away whenever the page is hidden, and asked for again when it is seen.
      lock.addEventListener("release", () => {
        if (this.lock === lock) this.lock = null;
        this.#tell();
      });
    } catch {
      this.refused = true;
    }
  }

  get #state() {
    if (this.lock) return "held";
    if (!navigator.wakeLock) return isSecureContext ? "lacking" : "insecure";
    return this.wanted && this.refused ? "refused" : "idle";
  }

  #tell() {
    say(this.element, this.lock ? t("awake") : t("may sleep"));
    say(this.why, WHY[this.#state]);
  }
}
