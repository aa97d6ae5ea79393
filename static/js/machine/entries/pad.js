// The pad marks the next expected moment with one tap, at the time of the first touch, not of the release.
import { byId, setText } from "../../core/dom.js";
import { clockText } from "../../core/duration.js";
import { temp } from "../../core/units.js";
import { t } from "../../core/words.js";
import { expectation, expectedMoments } from "../outlook/outlook.js";

const BOUNCE_MS = 700; // a bouncing glove must not mark the next moment too
const AIM_MS = 1200; // if another person has just marked the moment, a tap within this time meant the one shown before

export class Pad {
  button = byId("pad");
  after = byId("after");
  #pressedAt = -BOUNCE_MS;
  /** @type {{ from: string, at: number } | null} */
  #turned = null; // the previous moment, if another person advanced the pad
  #afterAt = -BOUNCE_MS; // when the part for after the drop came under the finger that marked it
  #isHeld = false; // whether a weight is on its way: nothing to charge may come under the finger that saved it

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
    // A click without a pointer comes from the keyboard or a screen reader.
    this.button.addEventListener("click", (event) => event.detail === 0 && this.press(event.timeStamp));
    this.after.addEventListener("click", (event) => this.#ignoreBounce(event), { capture: true });
    byId("charge-on").addEventListener("click", () => state.dismissBatch());
    state.addEventListener("change", () => this.draw());
  }

  get next() {
    return (this.state.phase !== "idle" && this.state.expected) || "charge";
  }

  /**
   * Handle a tap of any kind.
   * @param {number} timeStamp
   */
  press(timeStamp) {
    if (this.button.hidden || timeStamp - this.#pressedAt < BOUNCE_MS) return;
    this.#pressedAt = timeStamp;
    const aimed = this.#turned && timeStamp - this.#turned.at < AIM_MS ? this.#turned.from : this.next;
    this.mark(aimed, this.clock.now(timeStamp));
    this.#turned = null; // the person who pressed has seen the change that this press makes
    this.button.classList.add("hit");
    setTimeout(() => this.button.classList.remove("hit"), 180);
  }

  /**
   * Mark any moment; a charge without a batch under way opens one.
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
    this.button.hidden = cooling || this.#isHeld;
    if (this.after.hidden && this.button.hidden) this.#afterAt = performance.now();
    this.after.hidden = !this.button.hidden;
    this.#drawStart();
    if (cooling) {
      const weigh = byId("weigh-page", HTMLAnchorElement);
      weigh.hidden = !serverBatch; // without a code from the server there is no weigh page yet
      if (serverBatch) weigh.href = `/batches/${encodeURIComponent(serverBatch.code)}/weigh`;
      byId("add-crack").hidden = !serverBatch || this.state.atMs("first_crack") !== null;
      byId("add-crack", HTMLAnchorElement).href =
        `/batches/${encodeURIComponent(serverBatch?.code ?? "")}?add=first_crack#add`;
    } else {
      setText(byId("pad-next"), this.state.words.moments[this.next]);
      this.button.dataset.next = this.next;
    }
    this.tick();
  }

  /**
   * Keep the pad away while a weight is sent.
   * @param {boolean} on
   */
  hold(on) {
    if (this.#isHeld === on) return;
    this.#isHeld = on;
    if (!on) this.#pressedAt = performance.now();
    this.draw();
  }

  /**
   * The finger that marked the drop lifts over what came in the place of the pad: that is no tap on it.
   * @param {MouseEvent} event
   */
  #ignoreBounce(event) {
    if (!event.detail || event.timeStamp - this.#afterAt >= BOUNCE_MS) return; // no pointer, or another tap
    event.preventDefault();
    event.stopPropagation();
  }

  /** Beside the log: a button to start a batch, or the batch that waits for its charge. */
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

  /** Update the timer in the pad. */
  tick() {
    const { state, clock } = this;
    if (state.phase === "cooling") {
      const dropMs = state.atMs("drop");
      const cooling = dropMs === null ? "" : ` ${clockText(Math.max(0, clock.now() - dropMs) / 1000)}`;
      setText(byId("cooling"), t("Cooling") + cooling);
      const atS = dropMs === null ? null : state.secondsFromCharge(dropMs);
      const since = atS === null ? t("since the drop") : t("since the drop at {time}", { time: clockText(atS) });
      setText(byId("cooling-sub"), since);
      return;
    }
    const due = expectedMoments(state).find(({ moment }) => moment === this.next);
    const nowS = state.secondsFromCharge(clock.now()) ?? 0;
    const { left, when, basis } = due ? expectation(due, nowS) : { left: "", when: this.#hint(), basis: "" };
    setText(byId("pad-left"), left);
    setText(byId("pad-when"), when);
    setText(byId("pad-basis"), basis);
  }

  #hint() {
    const { state, hints } = this;
    const hint = hints[this.next];
    if (this.next === "charge" && state.phase === "idle") {
      const next = state.nextBatch;
      return next ? `${hint}: ${next.title || next.code}` : t("{hint}; opens a batch", { hint });
    }
    if (this.next === "charge" && state.serverBatch?.title) return `${hint}: ${state.serverBatch.title}`;
    return hint;
  }
}
