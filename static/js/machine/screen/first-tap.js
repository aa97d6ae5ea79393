// The first tap on a dimmed screen only wakes it. Browsers do not report a dimmed screen; but a sleeping screen hides
// the page, so the page learns how long the screen stays on untouched, and shortly before that time it is dim. A screen
// that has not slept under this page accepts every tap, because a lost moment is worse than one that has to be undone.
// A touch at the same time as the screen goes on is not a tap either. The pad says so beforehand, the feedback
// afterwards.
import { byId } from "../../core/dom.js";
import { loadText, storeText } from "../../core/storage.js";
import { bindToggle } from "../../core/toggle.js";
import { t } from "../../core/words.js";

const KEY = "drumside-screen-sleeps-ms";
const SHORTEST_MS = 14_000; // phones offer at least 15 s [memory]; a page hidden sooner was put away by hand
const ALIKE_MS = 2000; // tolerance: a screen sleeps by the clock, but a person hides a page at irregular times
const DIM_MS = 10_000; // the longest time before sleep at which a phone dims its screen [memory]
const LATE_MS = 3000; // a screen that stays on so much longer now has a longer timeout
const JUST_MS = 800;
const CLICK_MS = 1500; // the finger that woke it may rest; its click comes when it lifts

export class FirstTap {
  #touchedAt = performance.now();
  #seenAt = -Infinity;
  #wokeAt = -Infinity;
  #sleptMs = -Infinity;
  #sleepsMs = Number(loadText(KEY)) || Infinity; // time without touch until the screen sleeps

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
    if (this.wakeLock.isHeld) this.#touchedAt = performance.now(); // start of the time after which it may dim
    if (this.#untouchedMs > this.#sleepsMs + LATE_MS) this.#learn(Infinity);
    document.body.classList.toggle("resting", this.#isDim);
  }

  #restart() {
    this.#touchedAt = performance.now();
    this.tick();
  }

  /** Hidden: the screen may have gone to sleep. Visible again: the person who unlocked it has touched it. */
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
    this.feedback.showMessage(t("Screen woken; nothing was marked"));
  }

  /** @param {Event} event */
  #onClick(event) {
    if (performance.now() - this.#wokeAt > CLICK_MS) return;
    this.#wokeAt = -Infinity;
    event.stopImmediatePropagation();
    event.preventDefault();
  }
}
