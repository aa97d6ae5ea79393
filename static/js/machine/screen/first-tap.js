// The first tap on a dimmed screen only wakes it. No browser tells a page that the screen is dim; but a screen that
// falls asleep hides the page, so it shows for how long one stays on untouched, and shortly before that it is dim. A
// screen that has not slept under this page takes every tap, for a moment that is lost is worse than one that is
// undone. A touch that comes with the page, as the screen goes on, is not meant for it either. The pad says so
// beforehand, the feedback after.
import { byId } from "../../core/dom.js";
import { loadText, storeText } from "../../core/storage.js";
import { bindToggle } from "../../core/toggle.js";
import { t } from "../../core/words.js";

const KEY = "drumside-screen-sleeps-ms";
const SHORTEST_MS = 14_000; // phones offer 15 s at the least [memory]; a page that is hidden sooner was put away
const ALIKE_MS = 2000; // a screen sleeps by the clock; a hand puts a page away at any time, and not twice after as long
const DIM_MS = 10_000; // how long before it sleeps a phone dims its screen, at most [memory]
const LATE_MS = 3000; // one that is on so much later is set to a longer time by now
const JUST_MS = 800;
const CLICK_MS = 1500; // a finger that woke it may rest; its click comes when it lifts

export class FirstTap {
  #touchedAt = performance.now();
  #seenAt = -Infinity;
  #wokeAt = -Infinity;
  #sleptMs = -Infinity;
  #sleepsMs = Number(loadText(KEY)) || Infinity; // how long it takes untouched until the screen sleeps

  /**
   * @param {object} parts
   * @param {import("./wake-lock.js").WakeLock} parts.wakeLock
   * @param {import("../entries/feedback.js").Feedback} parts.feedback
   */
  constructor({ wakeLock, feedback }) {
    this.wakeLock = wakeLock;
    this.feedback = feedback;
    this.isOn = bindToggle(byId("first-tap"), "drumside-first-tap");
    document.addEventListener("visibilitychange", () => this.#onVisibility());
    document.addEventListener("pointerdown", (event) => this.#onTouch(event), { capture: true });
    document.addEventListener("keydown", () => this.#restart(), { capture: true });
    document.addEventListener("click", (event) => this.#onClick(event), { capture: true });
  }

  get #untouchedMs() {
    return performance.now() - this.#touchedAt;
  }

  get #isDim() {
    const fromMs = this.#sleepsMs - Math.min(DIM_MS, this.#sleepsMs / 3);
    return this.isOn() && navigator.maxTouchPoints > 0 && this.#untouchedMs > fromMs;
  }

  tick() {
    if (this.wakeLock.isHeld) this.#touchedAt = performance.now(); // from when on it may dim
    if (this.#untouchedMs > this.#sleepsMs + LATE_MS) this.#learn(Infinity);
    document.body.classList.toggle("resting", this.#isDim);
  }

  #restart() {
    this.#touchedAt = performance.now();
    this.tick();
  }

  /** Hidden: the screen may have gone to sleep. Seen again: whoever unlocked it has touched it. */
  #onVisibility() {
    if (document.hidden) {
      const sleptMs = this.#untouchedMs;
      if (sleptMs > SHORTEST_MS && Math.abs(sleptMs - this.#sleptMs) < ALIKE_MS) this.#learn(sleptMs);
      this.#sleptMs = sleptMs;
    } else {
      this.#seenAt = performance.now();
      this.#restart();
    }
  }

  /** @param {number} ms */
  #learn(ms) {
    this.#sleepsMs = ms;
    storeText(KEY, ms < Infinity ? String(Math.round(ms)) : "");
  }

  /** @param {PointerEvent} event */
  #onTouch(event) {
    const now = performance.now();
    const isJustSeen = this.isOn() && now - this.#seenAt < JUST_MS;
    const wakes = event.pointerType !== "mouse" && (this.#isDim || isJustSeen);
    this.#wokeAt = wakes ? now : -Infinity;
    this.#seenAt = -Infinity; // it has had its first touch
    this.#restart();
    if (!wakes) return;
    event.stopImmediatePropagation();
    this.feedback.showMessage(t("That tap only woke the screen; it marked nothing"));
  }

  /** @param {Event} event */
  #onClick(event) {
    if (performance.now() - this.#wokeAt > CLICK_MS) return;
    this.#wokeAt = -Infinity;
    event.stopImmediatePropagation();
    event.preventDefault();
  }
}
