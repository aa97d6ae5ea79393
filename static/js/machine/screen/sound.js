// Two signals by sound and vibration, each also visible: a moment is due, and readings are missing. A tap enables them,
// since no browser lets a page play sound before one. They are an aid and not an alarm: a page may be asleep.
import { byId, setText } from "../../core/dom.js";
import { bindToggle } from "../../core/toggle.js";
import { t } from "../../core/words.js";
import { bandOf, expectedMoments } from "../outlook/outlook.js";

const PAINTED_MS = 300; // after a tap, time for the feedback to be painted and the tap to be sent
const LASTS_MS = 3000; // a line that returns sooner is not announced
const EARLY_S = 10; // before a moment that has a time and no band
/** @type {Record<"due" | "lost", number[][]>} */
const TONES = {
  due: [[880, 0, 0.2]],
  lost: [
    [440, 0, 0.25],
    [330, 0.3, 0.4],
  ],
}; // [Hz, start in s, end in s]
const BUZZES = { due: [250], lost: [400, 150, 400] };

export class Sound {
  /** @type {AudioContext | null} */
  #context = null;
  /** @type {string | null} */
  #announced = null; // the moment, with its batch, that was announced as due
  /** @type {number | null} */
  #degradedAt = null;
  #isLost = false;

  /**
   * @param {object} parts
   * @param {import("../state/state.js").State} parts.state
   * @param {import("../../core/clock.js").Clock} parts.clock
   * @param {import("./numbers.js").Numbers} parts.numbers
   * @param {import("../entries/pad.js").Pad} parts.pad
   */
  constructor({ state, clock, numbers, pad }) {
    this.state = state;
    this.clock = clock;
    this.numbers = numbers;
    this.pad = pad;
    this.isOn = bindToggle(byId("sound"), "drumside-sound");
    // A lifted finger or a key enables sound, even from a timer that it sets. Starting blocks the page for a third of a
    // second, so the feedback of the tap is painted first.
    const arm = () => setTimeout(() => this.#arm(), PAINTED_MS);
    for (const type of ["pointerup", "keydown"]) document.addEventListener(type, arm, { capture: true });
    byId("sound-try").addEventListener("click", () => this.#play("due"));
  }

  #arm() {
    if (!this.isOn() || !("AudioContext" in globalThis)) return;
    this.#context ??= new AudioContext();
    // A call or another page may have interrupted it.
    if (this.#context.state !== "running") this.#context.resume().catch(() => {});
  }

  /** Called a few times a second while the page is visible. */
  tick() {
    const due = this.#due();
    this.pad.button.classList.toggle("due", due !== null);
    const name = due && `${this.state.batch} ${due.moment}`;
    if (due && name !== this.#announced) {
      this.#announced = name;
      setText(byId("due-told"), t("{moment} may be due now", { moment: due.label }));
      this.#play("due");
    }
    const now = performance.now();
    const isDegraded = this.state.phase === "roasting" && this.numbers.isDegraded;
    this.#degradedAt = isDegraded ? (this.#degradedAt ?? now) : null;
    const isLost = this.#degradedAt !== null && now - this.#degradedAt > LASTS_MS;
    if (isLost && !this.#isLost) this.#play("lost");
    this.#isLost = isLost;
  }

  /** The moment that the pad waits for, while the time is within its band. */
  #due() {
    const due = expectedMoments(this.state).find(({ moment }) => moment === this.pad.next);
    const nowS = this.state.secondsFromCharge(this.clock.now());
    if (!due || nowS === null) return null;
    const [fromS, untilS] = bandOf(due) ?? [due.time_s - EARLY_S, due.time_s + EARLY_S];
    return nowS >= fromS && nowS <= untilS ? due : null;
  }

  /** @param {"due" | "lost"} kind */
  #play(kind) {
    if (!this.isOn()) return;
    if (navigator.userActivation?.hasBeenActive !== false) navigator.vibrate?.(BUZZES[kind]);
    const context = this.#context;
    if (context?.state !== "running") return;
    for (const [hertz, from, length] of TONES[kind]) {
      const start = context.currentTime + from;
      const tone = new OscillatorNode(context, { type: "triangle", frequency: hertz });
      const loud = new GainNode(context, { gain: 0 });
      loud.gain.setTargetAtTime(0.5, start, 0.01); // no sudden edge, which would click
      loud.gain.setTargetAtTime(0, start + length, 0.03);
      tone.connect(loud).connect(context.destination);
      tone.start(start);
      tone.stop(start + length + 0.3);
    }
  }
}
