// Heads-ups and suggestions: one line at a time, at the foot of the curves. Advice only: nothing here marks a moment by
// itself.
import { byId, find, setText } from "../../core/dom.js";
import { clockText } from "../../core/duration.js";
import { load, store } from "../../core/storage.js";
import { t } from "../../core/words.js";

const KEY = "drumside-advice";
const MOST_HIDDEN = 40;
const SAME_S = 5; // largest shift of a heads-up's recomputed start
const AGAIN_S = 60; // a screen reader announces one kind at most this often
const SEEN_MS = 500; // a finger that is down sooner meant the text shown before

/** @typedef {Pick<AdviceLine, "batch" | "kind" | "atS">} Sort */

/**
 * @param {Sort} one
 * @param {Sort} other
 * @param {number} withinS
 */
const isNear = (one, other, withinS) =>
  one.kind === other.kind && one.batch === other.batch && Math.abs(one.atS - other.atS) <= withinS;

export class Advice {
  /** @type {Sort[]} */
  #hidden = load(KEY) ?? [];
  /** @type {AdviceLine[]} */
  #announced = [];
  /** @type {AdviceLine | null} */
  #shown = null;
  #shownAt = 0;

  /**
   * @param {object} parts
   * @param {import("../state/state.js").State} parts.state
   * @param {import("../../core/clock.js").Clock} parts.clock
   * @param {import("../entries/pad.js").Pad} parts.pad
   */
  constructor({ state, clock, pad }) {
    this.state = state;
    this.clock = clock;
    byId("advice-away").addEventListener("click", (event) => {
      if (this.#shown && this.#wasSeen(event)) this.#hide(this.#shown, event.detail === 0);
    });
    byId("advice-mark").addEventListener("click", (event) => {
      const atMs = this.#shown?.atMs;
      if (this.#wasSeen(event) && typeof atMs === "number") pad.mark("charge", atMs, { tempC: null });
    });
    state.addEventListener("outlook", () => this.draw());
    state.addEventListener("change", () => this.draw());
  }

  /**
   * All current advice, in the server's order, with the suggestion for the moment that the pad waits for.
   * @returns {AdviceLine[]}
   */
  get all() {
    const { state } = this;
    const { batch } = state;
    const outlook = state.activeBatch !== null && state.serverBatch ? state.outlook : null;
    const warned = (outlook?.heads_up ?? []).map(({ kind, start_s: atS, text }) => ({
      batch,
      word: t("Heads-up"),
      kind,
      atS,
      text,
      aboutRate: kind !== "probe",
    }));
    const suggested = (outlook?.suggestions ?? [])
      .filter(({ moment }) => moment === state.expected)
      .map(({ moment, label, at_ms: atMs, text }) => ({
        batch,
        word: t("Suggestion"),
        kind: moment,
        label,
        atMs,
        atS: (atMs ?? 0) / 1000,
        text,
      }));
    return [...warned, ...suggested];
  }

  draw() {
    const shown = this.all.find((one) => !this.#hidden.some((hidden) => isNear(one, hidden, SAME_S))) ?? null;
    if (shown && !(this.#shown && isNear(shown, this.#shown, SAME_S))) this.#shownAt = performance.now();
    this.#shown = shown;
    byId("advice").hidden = !shown;
    if (!shown) {
      setText(byId("advice-told"), "");
      return;
    }
    setText(byId("advice-word"), shown.word);
    byId("advice-rule").hidden = !shown.aboutRate;
    byId("advice-mark").hidden = !Number.isFinite(shown.atMs);
    const moment = this.state.words.moments_within[shown.kind] ?? "";
    setText(byId("advice-mark"), t("Mark {moment} then", { moment }));
    this.#announce(shown);
    this.tick();
  }

  /**
   * Screen readers announce new advice, not the passing seconds or a growing text.
   * @param {AdviceLine} shown
   */
  #announce(shown) {
    if (this.#announced.some((one) => isNear(shown, one, AGAIN_S))) return;
    this.#announced.push(shown);
    setText(byId("advice-told"), `${shown.word}: ${shown.text}`);
  }

  tick() {
    if (!this.#shown) return;
    const { text, atMs } = this.#shown;
    const passedS = typeof atMs === "number" ? (this.clock.now() - atMs) / 1000 : null;
    const ago = passedS === null ? "" : t("{time} ago", { time: clockText(passedS) });
    setText(byId("advice-text"), ago ? text.replace(/\.$/, `, ${ago}.`) : text);
  }

  /** @param {Event} event */
  #wasSeen({ timeStamp }) {
    return this.#shown !== null && timeStamp - this.#shownAt > SEEN_MS;
  }

  /**
   * @param {AdviceLine} shown
   * @param {boolean} byKey
   */
  #hide({ batch, kind, atS }, byKey) {
    this.#hidden = [...this.#hidden, { batch, kind, atS }].slice(-MOST_HIDDEN);
    store(KEY, this.#hidden);
    this.draw();
    if (byKey) find(document, "[data-sheet=log]").focus(); // not the pad: a held key would mark a moment
  }
}
