// The pad: the next expected moment, one slap. It counts from the finger's first touch, not from its lift.
import { stopwatch } from "../../core/clock.js";
import { say } from "../screen/numbers.js";
import { coming, expectation } from "../outlook/outlook.js";
import { temp } from "../../core/units.js";
import { t } from "../../core/words.js";

const BOUNCE_MS = 700; // a glove that bounces must not mark the moment after, too
const AIM_MS = 1200; // when another hand marks the moment just before, this finger still meant the one it saw
const $ = (id) => document.getElementById(id);

export class Pad {
  constructor({ state, clock, numbers, voice, hints }) {
    Object.assign(this, { state, clock, numbers, voice, hints });
    this.button = $("pad");
    this.pressedAt = -BOUNCE_MS;
    this.shown = this.next;
    this.turned = null;
    this.button.addEventListener("pointerdown", (event) => event.button === 0 && this.press(event.timeStamp));
    // A click without a pointer is the keyboard's, or a screen reader's.
    this.button.addEventListener("click", (event) => event.detail === 0 && this.press(event.timeStamp));
    $("charge-on").addEventListener("click", () => state.turnToNext());
    state.addEventListener("change", () => this.draw());
  }

  get next() {
    return (this.state.phase !== "idle" && this.state.expected) || "charge";
  }

  /** A slap, by whatever. */
  press(timeStamp) {
    if (this.button.hidden || timeStamp - this.pressedAt < BOUNCE_MS) return;
    this.pressedAt = timeStamp;
    const aimed = this.turned && timeStamp - this.turned.at < AIM_MS ? this.turned.from : this.next;
    this.mark(aimed, this.clock.now(timeStamp));
    this.turned = null; // what this press itself turned is seen by the finger that made it
    this.button.classList.add("hit");
    setTimeout(() => this.button.classList.remove("hit"), 180);
  }

  /** Mark a moment, whichever; a charge with no batch under way opens one. */
  mark(moment, atMs, { tempC = this.numbers.temp } = {}) {
    const { state, voice } = this;
    const opens = moment === "charge" && !state.underWay;
    const timeS = moment === "charge" ? 0 : state.since(atMs);
    const time = timeS === null ? "" : ` ${stopwatch(timeS)}`;
    const at = tempC === null ? "" : ` · ${temp(tempC)}`;
    voice.say("moment", { moment }, { text: `${state.words.moments[moment]}${time}${at}`, atMs, batch: opens ? (state.nextBatch?.code ?? null) : state.batch });
  }

  draw() {
    const { phase, told } = this.state;
    if (this.shown !== this.next) this.turned = this.state.own ? null : { from: this.shown, at: performance.now() };
    this.shown = this.next;
    const cooling = phase === "cooling";
    this.button.hidden = cooling;
    $("after").hidden = !cooling;
    this.#offer();
    if (cooling) {
      $("weigh").hidden = !told; // one that the server does not know yet has no code; its weigh page comes with it
      if (told) $("weigh").href = `/batches/${encodeURIComponent(told.code)}/weigh`;
    } else say($("pad-next"), this.state.words.moments[this.next]);
    this.tick();
  }

  /** Beside the log: a way to start a batch, or the one that was started and waits for its charge. */
  #offer() {
    const { phase, nextBatch, view, told } = this.state;
    const busy = phase === "open" || phase === "roasting";
    const waits = busy && nextBatch && nextBatch.code !== told?.code;
    $("start").hidden = busy && !waits;
    say($("start"), waits ? t("Next: {batch}", { batch: nextBatch.title || nextBatch.code }) : t("Start a batch"));
    $("start").href = waits ? `/batches/${encodeURIComponent(nextBatch.code)}/names` : `/machines/${encodeURIComponent(view.machine.id)}/start`;
  }

  /** What counts up or down in the pad. */
  tick() {
    const { state, clock } = this;
    if (state.phase === "cooling") {
      const dropMs = state.atMs("drop");
      say($("cooling"), dropMs === null ? t("Cooling") : `${t("Cooling")} ${stopwatch((clock.now() - dropMs) / 1000)}`);
      const atS = dropMs === null ? null : state.since(dropMs);
      say($("cooling-sub"), atS === null ? t("since the drop") : t("since the drop at {time}", { time: stopwatch(atS) }));
      return;
    }
    const due = coming(state).find(({ moment }) => moment === this.next);
    const { when, basis } = due ? expectation(due, state.since(clock.now())) : { when: this.#hint(), basis: "" };
    say($("pad-sub"), when);
    say($("pad-basis"), basis);
  }

  #hint() {
    const { state, hints } = this;
    const hint = hints[this.next];
    if (this.next === "charge" && state.phase === "idle") {
      const next = state.nextBatch;
      return next ? `${hint}: ${next.title || next.code}` : t("{hint}; this opens a batch", { hint });
    }
    if (this.next === "charge" && state.told?.title) return `${hint}: ${state.told.title}`;
    return hint;
  }
}
