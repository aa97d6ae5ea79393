// Heads-ups and suggestions: one line at a time, over the foot of the curves. Advice only: nothing here marks by itself.
import { stopwatch } from "../../core/clock.js";
import { say } from "../screen/numbers.js";
import { t } from "../../core/words.js";

const KEY = "drumside-advice";
const KEPT = 40;
const SAME_S = 5; // a heads-up whose start is found anew lies no farther off
const AGAIN_S = 60; // a screen reader is told of one kind at most so often
const SEEN_MS = 500; // a finger that is down sooner meant what stood here before
const $ = (id) => document.getElementById(id);

function kept() {
  try {
    return JSON.parse(localStorage.getItem(KEY)) ?? [];
  } catch {
    return []; // storage is shut off or spoilt: it holds for this page
  }
}

const near = (one, other, withinS) => one.kind === other.kind && one.batch === other.batch && Math.abs(one.atS - other.atS) <= withinS;

export class Advice {
  constructor({ state, clock, pad }) {
    Object.assign(this, { state, clock, pad });
    this.hidden = kept();
    this.told = [];
    this.shown = null;
    this.since = 0;
    $("advice-away").addEventListener("click", (event) => this.#seen(event) && this.#hide(event.detail === 0));
    $("advice-mark").addEventListener("click", (event) => this.#seen(event) && pad.mark("charge", this.shown.atMs, { tempC: null }));
    state.addEventListener("outlook", () => this.draw());
    state.addEventListener("change", () => this.draw());
  }

  /** All that holds now, in the server's order, and what is suggested for the moment that the pad waits for. */
  get all() {
    const { state } = this;
    const { heads_up: headsUp = [], suggestions = [] } = (state.underWay !== null && state.told && state.outlook) || {};
    const batch = state.batch;
    const warned = headsUp.map(({ kind, start_s: atS, text }) => ({ batch, word: t("Heads-up"), kind, atS, text, aboutRate: kind !== "probe" }));
    const suggested = suggestions
      .filter(({ moment }) => moment === state.expected)
      .map(({ moment, label, at_ms: atMs, text }) => ({ batch, word: t("Suggestion"), kind: moment, label, atMs, atS: (atMs ?? 0) / 1000, text }));
    return [...warned, ...suggested];
  }

  draw() {
    const now = this.all.find((one) => !this.hidden.some((gone) => near(one, gone, SAME_S))) ?? null;
    if (now && !(this.shown && near(now, this.shown, SAME_S))) this.since = performance.now();
    this.shown = now;
    $("advice").hidden = !now;
    if (!now) return void say($("advice-told"), "");
    say($("advice-word"), now.word);
    $("advice-rule").hidden = !now.aboutRate;
    $("advice-mark").hidden = !Number.isFinite(now.atMs);
    say($("advice-mark"), t("Mark {moment} then", { moment: this.state.words.moments_within[now.kind] ?? "" }));
    this.#tell(now);
    this.tick();
  }

  /** Seconds that pass, and words that grow with them, are not read out: only that there is something new. */
  #tell(now) {
    if (this.told.some((one) => near(now, one, AGAIN_S))) return;
    this.told.push(now);
    say($("advice-told"), `${now.word}: ${now.text}`);
  }

  tick() {
    if (!this.shown) return;
    const { text, atMs } = this.shown;
    const passed = Number.isFinite(atMs) && t("{time} ago", { time: stopwatch((this.clock.now() - atMs) / 1000) });
    const ago = passed ? `, ${passed}.` : "";
    say($("advice-text"), ago ? text.replace(/\.$/, ago) : text);
  }

  #seen({ timeStamp }) {
    return this.shown && timeStamp - this.since > SEEN_MS;
  }

  #hide(byKey) {
    const { batch, kind, atS } = this.shown;
    this.hidden = [...this.hidden, { batch, kind, atS }].slice(-KEPT);
    try {
      localStorage.setItem(KEY, JSON.stringify(this.hidden));
    } catch { /* kept for this page only */ }
    this.draw();
    if (byKey) document.querySelector("[data-sheet=log]").focus(); // not the pad: a key that is held would mark
  }
}
