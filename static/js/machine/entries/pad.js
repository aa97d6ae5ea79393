// The pad: the next expected moment, one tap. It counts from the finger's first touch, not from its lift.
import { byId, setText } from "../../core/dom.js";
import { clockText } from "../../core/duration.js";
import { temp } from "../../core/units.js";
import { t } from "../../core/words.js";
import { expectation, expectedMoments } from "../outlook/outlook.js";

const BOUNCE_MS = 700; // a glove that bounces must not mark the moment after, too
const AIM_MS = 1200; // when another hand marks the moment just before, this finger still meant the one it saw

export class Pad {
  button = byId("pad");
  #pressedAt = -BOUNCE_MS;
  /** @type {{ from: string, at: number } | null} */
  #turned = null; // the moment before, where another hand turned the pad

  /**
   * @param {object} parts
   * @param {import("../state/state.js").State} parts.state
   * @param {import("../../core/clock.js").Clock} parts.clock
   * @param {import("../screen/numbers.js").Numbers} parts.numbers
   * @param {import("./entries.js").Entries} parts.entries
   * @param {Record<string, string>} parts.hints
   */
  constructor({ state, clock, numbers, entries, hints }) {
    this.state = state;
    this.clock = clock;
    this.numbers = numbers;
    this.entries = entries;
    this.hints = hints;
    this.shown = this.next;
    this.button.addEventListener("pointerdown", (event) => event.button === 0 && this.press(event.timeStamp));
    // A click without a pointer is the keyboard's, or a screen reader's.
    this.button.addEventListener("click", (event) => event.detail === 0 && this.press(event.timeStamp));
    byId("charge-on").addEventListener("click", () => state.dismissBatch());
    state.addEventListener("change", () => this.draw());
  }

  get next() {
    return (this.state.phase !== "idle" && this.state.expected) || "charge";
  }

  /**
   * A tap, by whatever.
   * @param {number} timeStamp
   */
  press(timeStamp) {
    if (this.button.hidden || timeStamp - this.#pressedAt < BOUNCE_MS) return;
    this.#pressedAt = timeStamp;
    const aimed = this.#turned && timeStamp - this.#turned.at < AIM_MS ? this.#turned.from : this.next;
    this.mark(aimed, this.clock.now(timeStamp));
    this.#turned = null; // what this press itself turned is seen by the finger that made it
    this.button.classList.add("hit");
    setTimeout(() => this.button.classList.remove("hit"), 180);
  }

  /**
   * Mark a moment, whichever; a charge with no batch under way opens one.
   * @param {string} moment
   * @param {number} atMs
   * @param {{ tempC?: number | null }} [how]
   */
  mark(moment, atMs, { tempC = this.numbers.tempC } = {}) {
    const { state, entries } = this;
    const opens = moment === "charge" && !state.activeBatch;
    const timeS = moment === "charge" ? 0 : state.secondsFromCharge(atMs);
    const time = timeS === null ? "" : ` ${clockText(timeS)}`;
    const at = tempC === null ? "" : ` · ${temp(tempC)}`;
    const batch = opens ? (state.nextBatch?.code ?? null) : state.batch;
    entries.add("moment", { moment }, { text: `${state.words.moments[moment]}${time}${at}`, atMs, batch });
  }

  draw() {
    const { phase, serverBatch } = this.state;
    if (this.shown !== this.next) {
      this.#turned = this.state.isOwnChange ? null : { from: this.shown, at: performance.now() };
    }
    this.shown = this.next;
    const cooling = phase === "cooling";
    this.button.hidden = cooling;
    byId("after").hidden = !cooling;
    this.#drawStart();
    if (cooling) {
      const weigh = byId("weigh", HTMLAnchorElement);
      weigh.hidden = !serverBatch; // one that the server does not know yet has no code; its weigh page comes with it
      if (serverBatch) weigh.href = `/batches/${encodeURIComponent(serverBatch.code)}/weigh`;
    } else setText(byId("pad-next"), this.state.words.moments[this.next]);
    this.tick();
  }

  /** Beside the log: a way to start a batch, or the one that was started and waits for its charge. */
  #drawStart() {
    const { phase, nextBatch, view, serverBatch } = this.state;
    const start = byId("start", HTMLAnchorElement);
    const isBusy = phase === "open" || phase === "roasting";
    const waiting = isBusy && nextBatch && nextBatch.code !== serverBatch?.code ? nextBatch : null;
    start.hidden = isBusy && !waiting;
    setText(start, waiting ? t("Next: {batch}", { batch: waiting.title || waiting.code }) : t("Start a batch"));
    start.href = waiting
      ? `/batches/${encodeURIComponent(waiting.code)}/names`
      : `/machines/${encodeURIComponent(view.machine.id)}/start`;
  }

  /** What counts up or down in the pad. */
  tick() {
    const { state, clock } = this;
    if (state.phase === "cooling") {
      const dropMs = state.atMs("drop");
      const cooling = dropMs === null ? "" : ` ${clockText((clock.now() - dropMs) / 1000)}`;
      setText(byId("cooling"), t("Cooling") + cooling);
      const atS = dropMs === null ? null : state.secondsFromCharge(dropMs);
      const since = atS === null ? t("since the drop") : t("since the drop at {time}", { time: clockText(atS) });
      setText(byId("cooling-sub"), since);
      return;
    }
    const due = expectedMoments(state).find(({ moment }) => moment === this.next);
    const nowS = state.secondsFromCharge(clock.now()) ?? 0;
    const { when, basis } = due ? expectation(due, nowS) : { when: this.#hint(), basis: "" };
    setText(byId("pad-sub"), when);
    setText(byId("pad-basis"), basis);
  }

  #hint() {
    const { state, hints } = this;
    const hint = hints[this.next];
    if (this.next === "charge" && state.phase === "idle") {
      const next = state.nextBatch;
      return next ? `${hint}: ${next.title || next.code}` : t("{hint}; this opens a batch", { hint });
    }
    if (this.next === "charge" && state.serverBatch?.title) return `${hint}: ${state.serverBatch.title}`;
    return hint;
  }
}
