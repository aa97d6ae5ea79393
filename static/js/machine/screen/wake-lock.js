// Keeps the screen awake from the opening of a batch to its drop, if the browser can; the strip shows when it cannot.
import { setText } from "../../core/dom.js";
import { t } from "../../core/words.js";

const WHY = {
  held: t("This screen stays awake until the drop."),
  idle: t("This screen may sleep now. It stays awake from the start of a batch to its drop."),
  insecure: t(
    "The browser keeps the screen awake only on a secure page. Open this page with https, or set a longer screen timeout on the device.",
  ),
  lacking: t("This browser cannot keep the screen awake. Set a longer screen timeout on the device."),
  refused: t("The device does not allow it, usually because the battery is low. Touch the screen to try again."),
};
const isSupported = () => "wakeLock" in navigator;

export class WakeLock {
  /** @type {WakeLockSentinel | null} */
  #lock = null;
  #isWanted = false;
  #isAsking = false;
  #isRefused = false;

  /**
   * @param {HTMLElement} element
   * @param {HTMLElement} why
   */
  constructor(element, why) {
    this.element = element;
    this.why = why;
    document.addEventListener("visibilitychange", () => this.#update());
    document.addEventListener("pointerdown", () => this.#isRefused && this.#update());
    this.#draw();
  }

  get isHeld() {
    return this.#lock !== null;
  }

  /**
   * Set whether it is wanted.
   * @param {boolean} isWanted
   */
  want(isWanted) {
    if (this.#isWanted === isWanted) return;
    this.#isWanted = isWanted;
    this.#update();
  }

  async #update() {
    if (this.#isAsking) return; // it checks again when it is done
    this.#isAsking = true;
    if (!this.#isWanted) await this.#lock?.release();
    else if (!document.hidden && !this.#lock && isSupported()) await this.#request();
    this.#isAsking = false;
    this.#draw();
    if (!this.#isWanted && this.#lock) this.#update(); // it was released while the request was pending
  }

  async #request() {
    try {
      const lock = await navigator.wakeLock.request("screen");
      this.#lock = lock;
      this.#isRefused = false;
      // The browser releases it whenever the page is hidden; request it again when it is visible.
      lock.addEventListener("release", () => {
        if (this.#lock === lock) this.#lock = null;
        this.#draw();
      });
    } catch {
      this.#isRefused = true;
    }
  }

  /** @returns {keyof typeof WHY} */
  get #state() {
    if (this.#lock) return "held";
    if (!isSupported()) return isSecureContext ? "lacking" : "insecure";
    return this.#isWanted && this.#isRefused ? "refused" : "idle";
  }

  #draw() {
    setText(this.element, this.#lock ? t("awake") : t("may sleep"));
    this.element.hidden = !this.#isWanted || this.#lock !== null; // it matters only while a batch is under way
    setText(this.why, WHY[this.#state]);
  }
}
