// The server's clock, kept here: an offset from the best of several round trips. In a demo it may run N times as fast.
const PINGS = 5;

export class Clock {
  /** Starts with what the page said when it was made; `sync` makes it exact. */
  constructor(nowMs, rate = 1) {
    this.rate = rate;
    this.#anchor(nowMs, performance.now());
  }

  #anchor(nowMs, mono) {
    this.nowMs = nowMs;
    this.mono = mono;
  }

  /** The server's time of this moment, or of an event's `timeStamp`. [ms] */
  now(mono = performance.now()) {
    return this.nowMs + (mono - this.mono) * this.rate;
  }

  /** Ask the server several times and believe the quickest answer: its error is at most half its round trip. */
  async sync() {
    let best = null;
    for (let ping = 0; ping < PINGS; ping += 1) {
      const asked = performance.now();
      try {
        const said = await (await fetch("/api/clock", { cache: "no-store" })).json();
        const trip = performance.now() - asked;
        if (!best || trip < best.trip) best = { ...said, trip, middle: asked + trip / 2 };
      } catch {
        break; // no network: the clock goes on with what it knew
      }
    }
    if (!best) return false;
    this.rate = best.rate;
    this.#anchor(best.now_ms, best.middle);
    return true;
  }

  /** Sync now, when the page is seen again (the monotonic clock may have slept) and every few minutes. */
  keep(everyMs = 240_000) {
    document.addEventListener("visibilitychange", () => document.hidden || this.sync());
    setInterval(() => document.hidden || this.sync(), everyMs);
    return this.sync();
  }
}

/** Minutes and seconds as on a stopwatch: 522.4 is 8:42. */
export function stopwatch(seconds) {
  const whole = Math.floor(Math.abs(seconds));
  return `${seconds <= -1 ? "−" : ""}${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
