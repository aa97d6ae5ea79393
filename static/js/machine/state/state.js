// What the page knows: the server's view, and what was said here and is not in it yet. Everything drawn is asked of this.
import { t } from "../../core/words.js";
const STALE_MS = 1_800_000; // so long after the last word of a batch, nobody here knows whether it is still in the drum

export class State extends EventTarget {
  /** `connected`: whether the view is the server's of this moment; a page that was kept shows one of long ago. */
  constructor(view, words, { clock, connected, heardMs }) {
    super();
    // `heardMs`: the server's time until which the view is known to be right, while not connected.
    Object.assign(this, { view, words, clock, connected, heardMs });
    this.pending = new Map();
    this.left = null; // the batch that the person has turned away from, to charge the next one while it cools
    this.outlook = view.outlook ?? null; // the server's advice, newest; it comes each second, so it is no `change`
    this.read = {}; // controls that the machine itself tells
    this.letIn = true; // whether the server, where it answers, answers this device
    this.own = false; // whether what changes just now was said here
  }

  changed() {
    this.known = null;
    this.dispatchEvent(new Event("change"));
  }

  /** The server answers, or does so no more. */
  hear(connected) {
    if (connected) this.letIn = true;
    if (this.connected || connected) this.heardMs = this.clock.now();
    const news = this.connected !== connected;
    this.connected = connected;
    if (news) this.dispatchEvent(new Event("seen"));
  }

  /** The server is there, and lets this device in no more. */
  shutOut() {
    if (!this.letIn) return;
    this.letIn = this.connected = false;
    this.changed();
  }

  /** A newer view; `settled` are ids that it surely has in it. */
  see(view, settled = []) {
    if (view.seq < this.view.seq) return;
    settled.forEach((id) => this.pending.delete(id));
    this.view = view;
    this.outlook = view.outlook ?? null;
    if (this.connected) this.heardMs = this.clock.now();
    this.dispatchEvent(new Event("seen"));
    this.changed();
  }

  /** The server has a photo that an entry named before. */
  photoCame(name) {
    const lines = (this.view.batch?.log ?? []).filter(({ photo }) => photo?.name === name);
    for (const { photo } of lines) photo.here = true;
    if (lines.length) this.changed();
  }

  foresee(outlook) {
    this.outlook = outlook;
    this.view = { ...this.view, outlook };
    this.dispatchEvent(new Event("outlook"));
  }

  say(entries) {
    entries.forEach((entry) => this.pending.set(entry.id, entry));
    this.own = true; // whoever says something sees what it turns
    this.changed();
    this.own = false;
  }

  /** What an earlier page left in the outbox: it was said before all that was said on this one. */
  restore(entries) {
    this.pending = new Map([...entries.map((entry) => [entry.id, entry]), ...this.pending]);
    this.own = true;
    this.changed();
    this.own = false;
  }

  forget(id) {
    if (this.pending.delete(id)) this.changed();
  }

  #of(kind) {
    return [...this.pending.values()].filter((entry) => entry.kind === kind && !this.#takenBack(entry.id));
  }

  #takenBack(id) {
    return [...this.pending.values()].some((entry) => entry.kind === "undo" && entry.body.entry === id && !this.#takenBack(entry.id));
  }

  #shiftMs(id) {
    return this.#of("shift").reduce((sum, entry) => sum + (entry.body.entry === id ? entry.body.by_s * 1000 : 0), 0);
  }

  /** Whether two names, a code or the id of the entry that opened it, are of one batch. */
  #same(one, other) {
    const { batch } = this.view;
    const code = (name) => (batch && name === batch.opened_entry ? batch.code : name);
    return code(one) === code(other);
  }

  /** The batch that was opened or charged here last and that the server's view is not at yet. */
  get #begun() {
    let begun = null;
    for (const entry of this.pending.values()) {
      const name = entry.kind === "opened" ? entry.id : entry.body.moment === "charge" ? entry.batch : null;
      if (name !== null && !this.#takenBack(entry.id) && !this.#takenBack(name)) begun = this.#same(name, this.view.batch?.code ?? null) ? null : name;
    }
    return begun;
  }

  /** Whether this page has no word of a batch, its own or the server's, that is young enough to go by. */
  #isStale(name) {
    if (this.connected) return false;
    const said = [...this.pending.values()].filter((entry) => this.#same(entry.batch ?? entry.id, name)).map((entry) => entry.at_ms);
    return this.clock.now() - Math.max(this.heardMs, ...said) > STALE_MS;
  }

  /** What a tap is about: the batch under way, else the one that was last (a trier check after the drop is late, not lost). */
  get batch() {
    const { batch } = this.view;
    const name = this.#begun ?? (batch && !this.#takenBack(batch.opened_entry) ? batch.code : null);
    return name === null || this.#same(name, this.left) || this.#isStale(name) ? null : name;
  }

  /** The server's word of that batch; null while it has none. */
  get told() {
    const { batch } = this;
    return batch !== null && this.#same(batch, this.view.batch?.code) ? this.view.batch : null;
  }

  /** The batch that is under way: its code, or the id of the entry that opens it; null when none is. */
  get underWay() {
    return this.words.under_way.includes(this.phase) ? this.batch : null;
  }

  /** The entry that opened the batch, where this page knows it. */
  get opened() {
    return this.told?.opened_entry ?? (this.pending.has(this.batch) ? this.batch : null);
  }

  /** The batch that a charge begins when none is under way: one that waits, else a new one. */
  get nextBatch() {
    const charged = this.#of("moment").filter((entry) => entry.body.moment === "charge");
    const waits = this.view.waiting.find(({ code }) => !charged.some((entry) => this.#same(entry.batch, code)));
    return (waits && !this.#isStale(waits.code) && waits) || null;
  }

  /** Moments that count, with the server's time of each. */
  get moments() {
    this.known ??= this.#fold();
    return this.known;
  }

  #fold() {
    const known = new Map();
    const { batch: name, told: batch } = this;
    for (const { moment, entry, time_s: timeS } of batch?.moments ?? []) {
      if (moment === "turning_point" || this.#takenBack(entry)) continue;
      const timed = batch.charged_at_ms !== null && timeS !== null;
      known.set(moment, { entry, atMs: timed ? batch.charged_at_ms + timeS * 1000 + this.#shiftMs(entry) : null });
    }
    for (const entry of this.#of("moment")) {
      if (!this.#same(entry.batch, name) || known.has(entry.body.moment)) continue;
      known.set(entry.body.moment, { entry: entry.id, atMs: entry.at_ms + this.#shiftMs(entry.id) });
    }
    return known;
  }

  atMs(moment) {
    return this.moments.get(moment)?.atMs ?? null;
  }

  /** Seconds from charge of a time of the server's; null before charge. */
  since(atMs) {
    const charge = this.atMs("charge");
    return charge === null ? null : (atMs - charge) / 1000;
  }

  /** The moment that the pad waits for: the first in order after the last one marked; null after the drop. */
  get expected() {
    const order = this.words.expected;
    const moments = this.moments;
    return order[Math.max(...order.map((name, index) => (moments.has(name) ? index : -1))) + 1] ?? null;
  }

  /** idle, open, roasting or cooling, as it stands with what was just tapped. */
  get phase() {
    if (this.batch === null) return "idle";
    const state = this.told?.state ?? "roasting";
    if (!this.words.under_way.includes(state) && state !== "cooling") return "idle";
    if (!this.moments.has("drop")) return this.moments.has("charge") ? "roasting" : "open";
    return this.clock.now() - this.atMs("drop") > this.words.cooled_ms ? "idle" : "cooling";
  }

  get phaseWord() {
    const said = { idle: t("idle"), open: t("before charge"), cooling: t("cooling") };
    return said[this.phase] ?? this.told?.phase ?? t("roasting");
  }

  /** The next batch is charged while the last one cools. */
  turnToNext() {
    this.left = this.batch;
    this.changed();
  }

  setting(control) {
    const said = this.#of("move").filter((entry) => entry.body.control === control).at(-1);
    return said?.body.setting ?? this.read[control] ?? this.view.batch?.settings[control] ?? null;
  }

  get stage() {
    return this.#of("trier").findLast((entry) => this.#same(entry.batch, this.batch))?.body.stage ?? this.told?.stage ?? null;
  }

  isUndone(id) {
    return this.#takenBack(id);
  }
}
