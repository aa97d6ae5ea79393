// Two heads-ups that are heard and felt, each beside something that is seen: a moment is due, and readings are lost. They
// are armed by a tap, since no browser lets a page sound before one. Help for the ear, and no alarm: a page may be asleep.
import { coming } from "../outlook/outlook.js";
import { say } from "./numbers.js";
import { switched } from "../../core/toggle.js";
import { t } from "../../core/words.js";

const PAINTED_MS = 300; // after a tap its echo is painted, and the tap on its way
const LASTS_MS = 3000; // a line that is back so soon is no news
const EARLY_S = 10; // before a moment that has a time and no band
const TONES = { due: [[880, 0, 0.2]], lost: [[440, 0, 0.25], [330, 0.3, 0.4]] }; // Hz, from, for [s]
const BUZZES = { due: [250], lost: [400, 150, 400] };
const $ = (id) => document.getElementById(id);

export class Sound {
  constructor({ state, clock, numbers, pad }) {
    Object.assign(this, { state, clock, numbers, pad });
    this.isOn = switched($("sound"), "drumside-sound");
    this.told = null; // the moment, of a batch, that was told as due
    this.badSince = this.lost = null;
    // A lifted finger or a key allows sound, and a timer set by it still does. To begin holds the page up for a third of
    // a second, so that the echo of the tap has to be painted first.
    const arm = () => setTimeout(() => this.#arm(), PAINTED_MS);
    for (const type of ["pointerup", "keydown"]) document.addEventListener(type, arm, { capture: true });
    $("sound-try").addEventListener("click", () => this.#play("due"));
  }

  #arm() {
    if (!this.isOn() || !globalThis.AudioContext) return;
    this.context ??= new AudioContext();
    if (this.context.state !== "running") this.context.resume().catch(() => {}); // a call or another page took it away
  }

  /** Called a few times a second while the page is seen. */
  tick() {
    const due = this.#due();
    this.pad.button.classList.toggle("due", Boolean(due));
    const name = due && `${this.state.batch} ${due.moment}`;
    if (due && name !== this.told) {
      this.told = name;
      say($("due-told"), t("{moment} may be due now", { moment: due.label }));
      this.#play("due");
    }
    const bad = this.state.phase === "roasting" && this.numbers.bad;
    this.badSince = bad ? (this.badSince ?? performance.now()) : null;
    const lost = bad && performance.now() - this.badSince > LASTS_MS;
    if (lost && !this.lost) this.#play("lost");
    this.lost = lost;
  }

  /** The moment that the pad waits for, while the time is within its band. */
  #due() {
    const due = coming(this.state).find(({ moment }) => moment === this.pad.next);
    if (!due) return null;
    const nowS = this.state.since(this.clock.now());
    const [from, to] = Number.isFinite(due.low_s) ? [due.low_s, due.high_s] : [due.time_s - EARLY_S, due.time_s + EARLY_S];
    return nowS >= from && nowS <= to ? due : null;
  }

  #play(kind) {
    if (!this.isOn()) return;
    if (navigator.userActivation?.hasBeenActive !== false) navigator.vibrate?.(BUZZES[kind]);
    if (this.context?.state !== "running") return;
    for (const [hertz, from, length] of TONES[kind]) {
      const start = this.context.currentTime + from;
      const tone = new OscillatorNode(this.context, { type: "triangle", frequency: hertz });
      const loud = new GainNode(this.context, { gain: 0 });
      loud.gain.setTargetAtTime(0.5, start, 0.01); // without an edge, which would click
      loud.gain.setTargetAtTime(0, start + length, 0.03);
      tone.connect(loud).connect(this.context.destination);
      tone.start(start);
      tone.stop(start + length + 0.3);
    }
  }
}
