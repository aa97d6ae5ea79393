// The server's clock on this page: an offset from the best of several round trips. In a demo it may run N times as
// fast.
import { fetchWithTimeout } from "./fetch-timeout.js";
import { load, store } from "./storage.js";

const PINGS = 5;
const KEY = "drumside-clock";
const SLOW_MS = 400; // a slower answer does not make the clock exact: its error may be half of that
const RETRY_MS = 5000;
const SLEPT_MS = 500;
const SAME_MS = 60_000; // largest difference between an earlier page's clock and this one's, unless a clock was set

/**
 * The state that an earlier page stored: the server's time, and this device's own at that moment.
 * @returns {{ now_ms: number, wall_ms: number, rate: number } | null}
 */
function storedClock() {
  const stored = load(KEY);
  return stored && Number.isFinite(stored.now_ms + stored.wall_ms + stored.rate) ? stored : null;
}

export class Clock {
  /**
   * Starts with an estimate of the server's time; `sync` makes it exact.
   * @param {number} nowMs
   */
  constructor(nowMs, rate = 1) {
    this.rate = rate;
    this.isExact = false;
    this.roundTripMs = Infinity; // of the answer in use
    this.nowMs = nowMs;
    this.mono = performance.now();
  }

  /**
   * The clock of a page that the server made at `madeMs`, if the page says so; the worker may have cached it for hours.
   * @param {number | null} [madeMs]
   */
  static onPage(madeMs = null) {
    const stored = storedClock();
    const rate = stored?.rate ?? 1;
    const storedMs = stored ? stored.now_ms + (Date.now() - stored.wall_ms) * rate : NaN;
    if (madeMs === null) return new Clock(stored ? storedMs : Date.now(), rate);
    const { keptMs } = document.documentElement.dataset;
    const pageMs = madeMs + (keptMs ? Date.now() - Number(keptMs) : performance.now()) * rate;
    return new Clock(Math.abs(storedMs - pageMs) < SAME_MS * rate ? storedMs : pageMs, rate);
  }

  /** The server's time of this moment, or of an event's `timeStamp`. [ms] */
  now(mono = performance.now()) {
    return this.nowMs + (mono - this.mono) * this.rate;
  }

  /**
   * The basis of a time read while the clock is not exact; `error` gives its error later.
   * @returns {ClockStamp | undefined}
   */
  get stamp() {
    return this.isExact ? undefined : { now_ms: this.now(), wall_ms: Date.now() };
  }

  /**
   * How much too early times with a stamp were. [ms]
   * @param {ClockStamp} stamp
   */
  error({ now_ms: nowMs, wall_ms: wallMs }) {
    return this.now() - (nowMs + (Date.now() - wallMs) * this.rate);
  }

  /** Ask the server several times and use the quickest answer: its error is at most half its round trip. */
  async sync() {
    /** @type {{ now_ms: number, rate: number, roundTripMs: number, middle: number } | null} */
    let best = null;
    for (let ping = 0; ping < PINGS; ping += 1) {
      const asked = performance.now();
      try {
        const answer = await fetchWithTimeout("/api/clock", { cache: "no-store" });
        const roundTripMs = performance.now() - asked;
        const time = await answer.json();
        if (answer.ok && (!best || roundTripMs < best.roundTripMs)) {
          best = { ...time, roundTripMs, middle: asked + roundTripMs / 2 };
        }
      } catch {
        break; // no network: keep the current estimate
      }
    }
    if (!best) return false;
    if (best.roundTripMs > (this.isExact ? SLOW_MS : this.roundTripMs)) return true; // the current estimate is better
    this.rate = best.rate;
    this.roundTripMs = best.roundTripMs;
    this.nowMs = best.now_ms;
    this.mono = best.middle;
    this.isExact = best.roundTripMs <= SLOW_MS;
    store(KEY, { now_ms: this.now(), wall_ms: Date.now(), rate: this.rate });
    return true;
  }

  /** Sync now, when the page becomes visible, and every few minutes. */
  keepSynced(everyMs = 240_000) {
    /** @type {{ wall: number, mono: number } | null} */
    let hidden = null;
    document.addEventListener("visibilitychange", () => {
      if (document.hidden) {
        hidden = { wall: Date.now(), mono: performance.now() };
        return;
      }
      // The monotonic clock may stop while the device sleeps, and the network may be gone: the wall clock tells how
      // long it was.
      const sleptMs = hidden ? Date.now() - hidden.wall - (performance.now() - hidden.mono) : 0;
      if (sleptMs > SLEPT_MS) {
        this.mono -= sleptMs;
        this.isExact = false;
        this.roundTripMs = Infinity;
      }
      settle();
    });
    let timer = 0;
    const settle = async () => {
      clearTimeout(timer);
      await this.sync();
      if (!this.isExact) timer = setTimeout(settle, RETRY_MS);
    };
    setInterval(() => document.hidden || this.sync(), everyMs);
    return settle();
  }
}
