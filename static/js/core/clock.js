// The server's clock, kept here: an offset from the best of several round trips. In a demo it may run N times as fast.
import { soon } from "./fetch-timeout.js";

const PINGS = 5;
const KEY = "drumside-clock";
const SLOW_MS = 400; // an answer that took longer makes no clock sure: its error may be half of that
const AGAIN_MS = 5000;
const SLEPT_MS = 500;
const SAME_MS = 60_000; // what an earlier page learnt and what this one says may differ by, unless a clock was set

/** What an earlier page learnt: the server's time, and what this device's own clock showed then. */
function learnt() {
  try {
    const known = JSON.parse(localStorage.getItem(KEY));
    return Number.isFinite(known.now_ms + known.wall_ms + known.rate) ? known : null;
  } catch {
    return null; // nothing yet, or no storage
  }
}

export class Clock {
  /** Starts with what is believed of the server's time; `sync` makes it exact, and sure. */
  constructor(nowMs, rate = 1) {
    this.rate = rate;
    this.sure = false;
    this.trip = Infinity; // of the answer that it goes by
    this.#anchor(nowMs, performance.now());
  }

  /** For a page that the server made at `madeMs`, where it says so; the worker may have kept it for hours since. */
  static onPage(madeMs = null) {
    const known = learnt();
    const rate = known?.rate ?? 1;
    const knownMs = known ? known.now_ms + (Date.now() - known.wall_ms) * rate : NaN;
    if (madeMs === null) return new Clock(known ? knownMs : Date.now(), rate);
    const { keptMs } = document.documentElement.dataset;
    const pageMs = madeMs + (keptMs ? Date.now() - keptMs : performance.now()) * rate;
    return new Clock(Math.abs(knownMs - pageMs) < SAME_MS * rate ? knownMs : pageMs, rate);
  }

  #anchor(nowMs, mono) {
    this.nowMs = nowMs;
    this.mono = mono;
  }

  /** The server's time of this moment, or of an event's `timeStamp`. [ms] */
  now(mono = performance.now()) {
    return this.nowMs + (mono - this.mono) * this.rate;
  }

  /** What a time read off now rests on, where that is not sure; once it is, `error` tells how far off it was. */
  get stamp() {
    return this.sure ? undefined : { now_ms: this.now(), wall_ms: Date.now() };
  }

  /** By how much times of a stamp were too early. [ms] */
  error({ now_ms: nowMs, wall_ms: wallMs }) {
    return this.now() - (nowMs + (Date.now() - wallMs) * this.rate);
  }

  /** Ask the server several times and believe the quickest answer: its error is at most half its round trip. */
  async sync() {
    let best = null;
    for (let ping = 0; ping < PINGS; ping += 1) {
      const asked = performance.now();
      try {
        const answer = await soon("/api/clock", { cache: "no-store" });
        const trip = performance.now() - asked;
        const said = await answer.json();
        if (answer.ok && (!best || trip < best.trip)) best = { ...said, trip, middle: asked + trip / 2 };
      } catch {
        break; // no network: the clock goes on with what it knew
      }
    }
    if (!best) return false;
    if (best.trip > (this.sure ? SLOW_MS : this.trip)) return true; // what it knew is better
    this.rate = best.rate;
    this.trip = best.trip;
    this.#anchor(best.now_ms, best.middle);
    this.sure = best.trip <= SLOW_MS;
    this.#learn();
    return true;
  }

  #learn() {
    try {
      localStorage.setItem(KEY, JSON.stringify({ now_ms: this.now(), wall_ms: Date.now(), rate: this.rate }));
    } catch { /* the next page asks the server */ }
  }

  /** Sync now, when the page is seen again and every few minutes. */
  keep(everyMs = 240_000) {
    let hid = null;
    document.addEventListener("visibilitychange", () => {
      if (document.hidden) return void (hid = { wall: Date.now(), mono: performance.now() });
      // The monotonic clock may have slept with the device; the network may be gone, so the wall clock tells how long.
      const slept = hid ? Date.now() - hid.wall - (performance.now() - hid.mono) : 0;
      if (slept > SLEPT_MS) {
        this.mono -= slept;
        this.sure = false;
        this.trip = Infinity;
      }
      settle();
    });
    let timer = 0;
    const settle = async () => {
      clearTimeout(timer);
      await this.sync();
      if (!this.sure) timer = setTimeout(settle, AGAIN_MS);
    };
    setInterval(() => document.hidden || this.sync(), everyMs);
    return settle();
  }
}

/** Minutes and seconds as on a stopwatch: 522.4 is 8:42. */
export function stopwatch(seconds) {
  const whole = Math.floor(Math.abs(seconds));
  return `${seconds <= -1 ? "−" : ""}${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
