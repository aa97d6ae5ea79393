// Turns taps into entries: each gets its id and time here, is saved, sent, and shown at once.
import { load, store } from "../../core/storage.js";
import { t } from "../../core/words.js";
import { newId } from "../../offline/outbox.js";
import { lineText } from "./feedback.js";

const KEY = "drumside-said";
const MOST_OWN = 60;
const ABOUT_OTHERS = ["undo", "shift", "opened"];

export class Entries {
  /** @type {{ id: string, text: string }[]} */
  #own = load(KEY) ?? [];
  /** @type {Map<string, string>} */
  #batches = new Map(); // the batch of each entry made on this page

  /**
   * @param {object} parts
   * @param {import("../state/state.js").State} parts.state
   * @param {import("../../offline/outbox.js").Outbox} parts.outbox
   * @param {import("../../core/clock.js").Clock} parts.clock
   * @param {import("./feedback.js").Feedback} parts.feedback
   * @param {string | null} parts.who
   */
  constructor({ state, outbox, clock, feedback, who }) {
    this.state = state;
    this.outbox = outbox;
    this.clock = clock;
    this.feedback = feedback;
    this.by = who ? { person: who } : {};
  }

  /**
   * @param {string} kind
   * @param {Record<string, any>} body
   * @param {string | null} batch
   * @param {number} atMs
   * @returns {Entry}
   */
  #make(kind, body, batch, atMs) {
    const { machine } = this.state.view;
    return { id: newId(), machine: machine.id, batch, kind, at_ms: Math.round(atMs), by: this.by, body };
  }

  /**
   * Make one entry; opens a batch for it if there is none. Returns the id.
   * @param {string} kind
   * @param {Record<string, any>} body
   * @param {{ text: string, atMs?: number, batch?: string | null, shiftable?: boolean, undone?: string }} how
   */
  add(kind, body, { text, atMs = this.clock.now(), batch = this.state.batch, shiftable = true, undone = "" }) {
    const entries = [];
    if (batch === null) {
      entries.push(this.#make("opened", {}, null, atMs));
      batch = entries[0].id;
    }
    const entry = this.#make(kind, body, batch, atMs);
    entries.push(entry);
    this.#batches.set(entry.id, batch);
    if (!ABOUT_OTHERS.includes(kind)) this.#keepOwn(entry.id, text);
    this.#send(entries, { id: entry.id, text, shiftable, undone });
    return entry.id;
  }

  /**
   * Add the entries of a form, each with its text; the first one is shown.
   * @param {[Entry, string][]} made
   */
  addMade(made) {
    const [[{ id }, text]] = made;
    for (const [entry, own] of made) this.#keepOwn(entry.id, own);
    this.#send(
      made.map(([entry]) => entry),
      { id, text, shiftable: false },
    );
  }

  /**
   * @param {Entry[]} entries
   * @param {{ id: string, text: string, shiftable?: boolean, undone?: string }} shown
   */
  #send(entries, shown) {
    this.outbox.add(entries); // first of all: it is saved even if drawing fails
    this.state.add(entries);
    this.feedback.show(shown);
  }

  /**
   * @param {string} id
   * @param {string} text
   */
  #keepOwn(id, text) {
    this.#own = [...this.#own, { id, text }].slice(-MOST_OWN);
    store(KEY, this.#own);
  }

  /**
   * The displayed text of an entry of this device.
   * @param {string} id
   */
  textOf(id) {
    return this.#own.find((entry) => entry.id === id)?.text;
  }

  /**
   * @param {string} id
   * @param {string} text
   */
  undo(id, text) {
    const how = { text: t("Undone: {what}", { what: text }), batch: this.#batchOf(id), shiftable: false, undone: text };
    this.add("undo", { entry: id }, how);
  }

  /**
   * Undo an undo.
   * @param {string} id
   * @param {string} text the undone entry
   */
  bringBack(id, text) {
    const how = { text: t("Restored: {what}", { what: text }), batch: this.#batchOf(id), shiftable: false };
    this.add("undo", { entry: id }, how);
  }

  /**
   * @param {string} id
   * @param {number} byS
   * @param {string} text
   */
  shift(id, byS, text) {
    const shift = this.#make("shift", { entry: id, by_s: byS }, this.#batchOf(id), this.clock.now());
    this.outbox.add([shift]);
    this.state.add([shift]);
    this.feedback.showShift({ id, shiftId: shift.id, text });
  }

  /** @param {string} id */
  #batchOf(id) {
    const entry = this.state.pending.get(id);
    if (entry) return entry.batch ?? entry.id;
    return this.#batches.get(id) ?? this.state.view.batch?.code ?? this.state.batch;
  }

  /** Undo the newest entry of this device that has not been undone. */
  undoLast() {
    const { pending, serverBatch } = this.state;
    const log = new Map((serverBatch?.log ?? []).map((line) => [line.entry, lineText(line)]));
    const last = this.#own.findLast(({ id }) => (pending.has(id) || log.has(id)) && !this.state.isUndone(id));
    if (last) this.undo(last.id, log.get(last.id) ?? last.text);
    else this.feedback.showMessage(t("Nothing to undo on this device"));
  }
}
