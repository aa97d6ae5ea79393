// What the page knows: the server's view, and what was said here and is not in it yet. Everything drawn is asked of this.
const LIVE_STATES = ["open", "roasting"];
const COOLED_MS = 3_600_000; // an hour after the drop nothing cools any more: the pad waits for a charge again

export class State extends EventTarget {
  constructor(view, words) {
    super();
    this.view = view;
    this.words = words;
    this.pending = new Map();
    this.fresh = false; // the person wants to charge the next batch while the last one cools
    this.outlook = view.outlook ?? null; // the server's advice, newest; it comes each second, so it is no `change`
    this.read = {}; // controls that the machine itself tells
    this.own = false; // whether what changes just now was said here
  }

  changed() {
    this.known = null;
    this.dispatchEvent(new Event("change"));
  }

  /** A newer view; `settled` are ids that it surely has in it. */
  see(view, settled = []) {
    if (view.seq < this.view.seq) return;
    settled.forEach((id) => this.pending.delete(id));
    if (view.batch?.code !== this.view.batch?.code) this.fresh = false;
    this.view = view;
    this.outlook = view.outlook ?? null;
    this.changed();
  }

  foresee(outlook) {
    this.outlook = outlook;
    this.dispatchEvent(new Event("outlook"));
  }

  say(entries) {
    entries.forEach((entry) => this.pending.set(entry.id, entry));
    this.own = true; // whoever says something sees what it turns
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

  /** A batch that was opened or charged here and that the server's view is not at yet: its code, or its opening entry. */
  get #begun() {
    const opened = this.#of("opened").at(-1);
    if (opened) return opened.id;
    const charge = this.#of("moment").findLast((entry) => entry.body.moment === "charge");
    return charge && charge.batch !== this.view.batch?.code ? charge.batch : null;
  }

  /** The batch that is under way: its code, or the id of the entry that opens it; null when none is. */
  get underWay() {
    const batch = this.view.batch;
    return this.#begun ?? (batch && !this.fresh && LIVE_STATES.includes(batch.state) ? batch.code : null);
  }

  /** The batch that a charge begins when none is under way: one that waits, else a new one. */
  get nextBatch() {
    return this.view.waiting[0] ?? null;
  }

  /** What a tap is about: the batch under way, else the one that was last (a trier check after the drop is late, not lost). */
  get batch() {
    return this.underWay ?? (this.fresh ? null : this.view.batch?.code) ?? null;
  }

  /** Moments that count, with the server's time of each. */
  get moments() {
    this.known ??= this.#fold();
    return this.known;
  }

  #fold() {
    const begun = this.#begun;
    const known = new Map();
    const batch = begun || this.fresh ? null : this.view.batch;
    for (const { moment, entry, time_s: timeS } of batch?.moments ?? []) {
      if (moment === "turning_point" || this.#takenBack(entry)) continue;
      const timed = batch.charged_at_ms !== null && timeS !== null;
      known.set(moment, { entry, atMs: timed ? batch.charged_at_ms + timeS * 1000 + this.#shiftMs(entry) : null });
    }
    for (const entry of this.#of("moment")) {
      if ((begun && entry.batch !== begun) || known.has(entry.body.moment)) continue;
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
    const dropped = this.moments.has("drop");
    if (this.underWay) return dropped ? "cooling" : this.moments.has("charge") ? "roasting" : "open";
    const cold = this.clock && this.clock.now() - this.atMs("drop") > COOLED_MS;
    return dropped && !cold && this.view.batch?.state === "cooling" ? "cooling" : "idle";
  }

  get phaseWord() {
    const said = { idle: "idle", open: "before charge", cooling: "cooling" };
    return said[this.phase] ?? this.view.batch?.phase ?? "roasting";
  }

  /** The next batch is charged while the last one cools. */
  turnToNext() {
    this.fresh = true;
    this.changed();
  }

  setting(control) {
    const said = this.#of("move").filter((entry) => entry.body.control === control).at(-1);
    return said?.body.setting ?? this.read[control] ?? this.view.batch?.settings[control] ?? null;
  }

  get stage() {
    return this.#of("trier").at(-1)?.body.stage ?? this.view.batch?.stage ?? null;
  }

  isUndone(id) {
    return this.#takenBack(id);
  }
}
