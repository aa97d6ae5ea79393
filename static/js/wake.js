// Keeps the screen awake from charge to drop where the browser can, and says which it is.
import { say } from "./numbers.js";
import { t } from "./words.js";

export class Wake {
  constructor(element) {
    this.element = element;
    this.wanted = false;
    this.lock = null;
    document.addEventListener("visibilitychange", () => this.#hold());
  }

  /** Wish for it, or no more. */
  want(wanted) {
    if (this.wanted === wanted) return;
    this.wanted = wanted;
    this.#hold();
  }

  async #hold() {
    if (!this.wanted) {
      await this.lock?.release();
      this.lock = null;
    } else if (!document.hidden && !this.lock && navigator.wakeLock) {
      try {
        this.lock = await navigator.wakeLock.request("screen");
        this.lock.addEventListener("release", () => {
          this.lock = null;
          this.#tell();
        });
      } catch { /* low battery, or not allowed: the strip says that the screen may sleep */ }
    }
    this.#tell();
  }

  #tell() {
    say(this.element, this.lock ? t("awake") : t("may sleep"));
  }
}
