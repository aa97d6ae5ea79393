// The first tap on a dimmed screen only wakes it. No browser tells a page that the screen is dim; but a screen that falls
// asleep hides the page, so it shows for how long one stays on untouched, and shortly before that it is dim. A screen that
// has not slept under this page takes every tap, for a moment that is lost is worse than one that is taken back. A touch
// that comes with the page, as the screen goes on, is not meant for it either. The pad says so beforehand, the echo after.
import { switched } from "../../core/toggle.js";
import { t } from "../../core/words.js";

const KEY = "drumside-screen-sleeps-ms";
const SHORTEST_MS = 14_000; // phones offer 15 s at the least [memory]; a page that is hidden sooner was put away
const ALIKE_MS = 2000; // a screen sleeps by the clock; a hand puts a page away at any time, and not twice after as long
const DIM_MS = 10_000; // how long before it sleeps a phone dims its screen, at most [memory]
const LATE_MS = 3000; // one that is on so much later is set to a longer time by now
const JUST_MS = 800;
const CLICK_MS = 1500; // a finger that woke it may rest; its click comes when it lifts

function recalled() {
  try {
    return Number(localStorage.getItem(KEY)) || Infinity;
  } catch { // storage is shut off: it is learnt anew by each page
    return Infinity;
  }
}

export class FirstTap {
  constructor({ wake, echo }) {
    Object.assign(this, { wake, echo });
    this.isOn = switched(document.getElementById("first-tap"), "drumside-first-tap");
    this.sleepsMs = recalled();
    this.touchedAt = performance.now();
    this.seenAt = this.wokeAt = this.sleptMs = -Infinity;
    document.addEventListener("visibilitychange", () => this.#turn());
    document.addEventListener("pointerdown", (event) => this.#touch(event), { capture: true });
    document.addEventListener("keydown", () => this.#stir(), { capture: true });
    document.addEventListener("click", (event) => this.#click(event), { capture: true });
  }

  get #restedMs() {
    return performance.now() - this.touchedAt;
  }

  get #rests() {
    const from = this.sleepsMs - Math.min(DIM_MS, this.sleepsMs / 3);
    return this.isOn() && navigator.maxTouchPoints > 0 && this.#restedMs > from;
  }

  tick() {
    if (this.wake.lock) this.touchedAt = performance.now(); // from when on it may dim
    if (this.#restedMs > this.sleepsMs + LATE_MS) this.#learn(Infinity);
    document.body.classList.toggle("resting", this.#rests);
  }

  #stir() {
    this.touchedAt = performance.now();
    this.tick();
  }

  /** Hidden: the screen may have gone to sleep. Seen again: whoever unlocked it has touched it. */
  #turn() {
    if (document.hidden) {
      const sleptMs = this.#restedMs;
      if (sleptMs > SHORTEST_MS && Math.abs(sleptMs - this.sleptMs) < ALIKE_MS) this.#learn(sleptMs);
      this.sleptMs = sleptMs;
    } else {
      this.seenAt = performance.now();
      this.#stir();
    }
  }

  #learn(ms) {
    this.sleepsMs = ms;
    try {
      if (ms < Infinity) localStorage.setItem(KEY, Math.round(ms));
      else localStorage.removeItem(KEY);
    } catch { /* as above */ }
  }

  #touch(event) {
    const now = performance.now();
    const wakes = event.pointerType !== "mouse" && (this.#rests || (this.isOn() && now - this.seenAt < JUST_MS));
    this.wokeAt = wakes ? now : -Infinity;
    this.seenAt = -Infinity; // it has had its first touch
    this.#stir();
    if (!wakes) return;
    event.stopImmediatePropagation();
    this.echo.remark(t("That tap only woke the screen; it marked nothing"));
  }

  #click(event) {
    if (performance.now() - this.wokeAt > CLICK_MS) return;
    this.wokeAt = -Infinity;
    event.stopImmediatePropagation();
    event.preventDefault();
  }
}
