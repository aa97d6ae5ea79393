// The first tap on a dimmed screen only wakes it. No browser tells a page that the screen is dim, so it is taken to be so
// when nothing keeps it awake and nobody has touched it for a minute; and a touch that comes with the page, as the screen
// goes on, is not meant for it either. The pad says so beforehand, and the echo afterwards.
import { switched } from "./switched.js";
import { t } from "./words.js";

const REST_MS = 60_000;
const JUST_MS = 800;
const CLICK_MS = 1500; // a finger that woke it may rest; its click comes when it lifts

export class FirstTap {
  constructor({ wake, echo }) {
    Object.assign(this, { wake, echo });
    this.isOn = switched(document.getElementById("first-tap"), "drumside-first-tap");
    this.touchedAt = performance.now();
    this.seenAt = this.wokeAt = -Infinity;
    document.addEventListener("visibilitychange", () => {
      if (!document.hidden) this.seenAt = performance.now();
    });
    document.addEventListener("pointerdown", (event) => this.#touch(event), { capture: true });
    document.addEventListener("keydown", () => this.#stir(), { capture: true });
    document.addEventListener("click", (event) => this.#click(event), { capture: true });
  }

  #stir() {
    this.touchedAt = performance.now();
    this.tick();
  }

  get #rests() {
    return this.isOn() && !this.wake.lock && navigator.maxTouchPoints > 0 && performance.now() - this.touchedAt > REST_MS;
  }

  tick() {
    document.body.classList.toggle("resting", this.#rests);
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
