// Turns what a finger did into entries: an id and a time made here, saved, sent, and echoed at once.
import { lineText } from "./feedback.js";
import { newId } from "../../offline/outbox.js";
import { t } from "../../core/words.js";

const KEY = "drumside-said";
const KEPT = 60;
const ABOUT_OTHERS = ["undo", "shift", "opened"];

function kept() {
  try {
    return JSON.parse(localStorage.getItem(KEY)) ?? [];
  } catch {
    return []; // storage is shut off or spoilt: this page's own taps can still be undone
  }
}

export class Voice {
  constructor({ state, outbox, clock, echo, who }) {
    Object.assign(this, { state, outbox, clock, echo, by: who ? { person: who } : {} });
    this.own = kept();
    this.about = new Map(); // of what was said on this page, its batch
  }

  #entry(kind, body, batch, atMs) {
    return { id: newId(), machine: this.state.view.machine.id, batch, kind, at_ms: Math.round(atMs), by: this.by, body };
  }

  /** Say one thing; a batch is opened for it where there is none. Returns the id. */
  say(kind, body, { text, atMs = this.clock.now(), batch = this.state.batch, shiftable = true }) {
    const entries = [];
    if (batch === null) {
      entries.push(this.#entry("opened", {}, null, atMs));
      batch = entries[0].id;
    }
    const entry = this.#entry(kind, body, batch, atMs);
    entries.push(entry);
    this.about.set(entry.id, batch);
    if (!ABOUT_OTHERS.includes(kind)) this.#keep(entry.id, text);
    this.outbox.add(entries); // first: whatever goes wrong with the drawing, it is kept
    this.state.say(entries);
    this.echo.show({ id: entry.id, text, shiftable });
    return entry.id;
  }

  #keep(id, text) {
    this.own = [...this.own, { id, text }].slice(-KEPT);
    try {
      localStorage.setItem(KEY, JSON.stringify(this.own));
    } catch { /* kept for this page only */ }
  }

  /** What was said here, as it was echoed. */
  textOf(id) {
    return this.own.find((said) => said.id === id)?.text;
  }

  undo(id, text) {
    this.say("undo", { entry: id }, { text: t("Undone: {what}", { what: text }), batch: this.#batchOf(id), shiftable: false });
  }

  shift(id, byS, text) {
    const shift = this.#entry("shift", { entry: id, by_s: byS }, this.#batchOf(id), this.clock.now());
    this.outbox.add([shift]);
    this.state.say([shift]);
    this.echo.moved({ id, by: shift.id, text });
  }

  #batchOf(id) {
    const said = this.state.pending.get(id);
    return said ? (said.batch ?? said.id) : (this.about.get(id) ?? this.state.view.batch?.code ?? this.state.batch);
  }

  /** Undo the newest thing that was said on this device and still stands. */
  undoLast() {
    const log = new Map((this.state.told?.log ?? []).map((line) => [line.entry, lineText(line)]));
    const last = this.own.findLast(({ id }) => (this.state.pending.has(id) || log.has(id)) && !this.state.isUndone(id));
    if (last) this.undo(last.id, log.get(last.id) ?? last.text);
    else this.echo.remark(t("Nothing said on this device is left to undo"));
  }
}
