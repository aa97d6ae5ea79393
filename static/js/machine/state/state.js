// The page's state: the server's view, and the entries made here that it does not contain yet. Everything drawn reads
// from this.
import { t } from "../../core/words.js";
import { fold, undoneIds } from "./fold.js";

const STALE_MS = 1_800_000; // after this time without an entry, a batch may have left the drum unnoticed

/**
 * Ids of the moves of a control, and of all entries that undo or shift them, directly or indirectly.
 * @param {string} control
 * @param {(Entry | Line)[]} entries
 */
function idsAbout(control, entries) {
  const about = new Set(entries.filter(({ body }) => body.control === control).map(({ id }) => id));
  for (let size = -1; size !== about.size;) {
    size = about.size;
    for (const { id, body } of entries) if (about.has(body.entry)) about.add(id);
  }
  return about;
}

export class State extends EventTarget {
  /** @type {{ moments: import("./fold.js").Folded["moments"], stage: string | null, state: string } | null} */
  #folded = null;
  /** @type {Set<string> | null} */
  #undone = null;

  /**
   * `connected`: whether the view is the server's current one; a cached page shows an old one. `heardMs`: the server
   * time until which the view is known to be valid, while not connected.
   * @param {View} view
   * @param {PageWords} words
   * @param {{ clock: import("../../core/clock.js").Clock, connected: boolean, heardMs: number }} how
   */
  constructor(view, words, { clock, connected, heardMs }) {
    super();
    this.view = view;
    this.words = words;
    this.clock = clock;
    this.connected = connected;
    this.heardMs = heardMs;
    /** @type {Map<string, Entry>} */
    this.pending = new Map();
    /** @type {string | null} */
    this.dismissed = null; // the batch that the person dismissed, to charge the next one while it cools
    this.outlook = view.outlook ?? null; // the server's newest advice; it comes each second, so it causes no `change`
    /** @type {Record<string, number>} */
    this.machineSettings = {}; // settings of controls that are read from the machine
    this.hasAccess = true; // whether the server, when it answers, accepts this device
    this.isOwnChange = false; // whether the current change was made here
  }

  changed() {
    this.#folded = null;
    this.#undone = null;
    this.dispatchEvent(new Event("change"));
  }

  #changedHere() {
    this.isOwnChange = true; // the person who makes an entry sees its effect
    this.changed();
    this.isOwnChange = false;
  }

  /**
   * The server is reachable, or no longer.
   * @param {boolean} connected
   */
  setConnected(connected) {
    if (connected) this.hasAccess = true;
    if (this.connected || connected) this.heardMs = this.clock.now();
    const isNews = this.connected !== connected;
    this.connected = connected;
    if (isNews) this.dispatchEvent(new Event("update"));
  }

  /** The server is reachable, and refuses this device. */
  loseAccess() {
    if (!this.hasAccess) return;
    this.hasAccess = this.connected = false;
    this.changed();
  }

  /**
   * Set a newer view; `settled` are ids that it certainly contains.
   * @param {View} view
   * @param {string[]} settled
   */
  update(view, settled = []) {
    if (view.seq < this.view.seq) return;
    settled.forEach((id) => this.pending.delete(id));
    this.view = view;
    this.outlook = view.outlook ?? null;
    if (this.connected) this.heardMs = this.clock.now();
    this.dispatchEvent(new Event("update"));
    this.changed();
  }

  /**
   * The server has received a photo that an entry named before.
   * @param {string} name
   */
  photoArrived(name) {
    const photos = (this.view.batch?.log ?? []).flatMap(({ photo }) => (photo?.name === name ? [photo] : []));
    for (const photo of photos) photo.here = true;
    if (photos.length) this.changed();
  }

  /** @param {Outlook} outlook */
  updateOutlook(outlook) {
    this.outlook = outlook;
    this.view = { ...this.view, outlook };
    this.dispatchEvent(new Event("outlook"));
  }

  /** @param {Entry[]} entries */
  add(entries) {
    entries.forEach((entry) => this.pending.set(entry.id, entry));
    this.#changedHere();
  }

  /**
   * Add entries that an earlier page left in the outbox: they are older than all entries of this page.
   * @param {Entry[]} entries
   */
  restore(entries) {
    this.pending = new Map([...entries.map((entry) => /** @type {const} */ ([entry.id, entry])), ...this.pending]);
    this.#changedHere();
  }

  /** @param {string} id */
  remove(id) {
    if (this.pending.delete(id)) this.changed();
  }

  /**
   * Whether an entry is undone.
   * @param {string} id
   */
  isUndone(id) {
    this.#undone ??= undoneIds([...(this.view.batch?.lines ?? []), ...this.pending.values()]);
    return this.#undone.has(id);
  }

  /**
   * Whether two names, each a code or the id of the opening entry, mean the same batch.
   * @param {string | null | undefined} one
   * @param {string | null | undefined} other
   */
  #isSame(one, other) {
    const { batch } = this.view;
    const code = (/** @type {string | null | undefined} */ name) =>
      batch && name === batch.opened_entry ? batch.code : name;
    return code(one) === code(other);
  }

  /** The batch that was opened or charged here last and that the server's view does not show yet. */
  get #begun() {
    let begun = null;
    for (const { id, kind, batch, body } of this.pending.values()) {
      const name = kind === "opened" ? id : body.moment === "charge" ? batch : null;
      if (name === null || this.isUndone(id) || this.isUndone(name)) continue;
      begun = this.#isSame(name, this.view.batch?.code ?? null) ? null : name;
    }
    return begun;
  }

  /**
   * Waiting entries of a batch.
   * @param {string | null} name
   */
  #pendingOf(name) {
    return [...this.pending.values()].filter((entry) => this.#isSame(entry.batch ?? entry.id, name));
  }

  /**
   * Whether this page has no recent entry of a batch, its own or the server's.
   * @param {string} name
   */
  #isStale(name) {
    if (this.connected) return false;
    const times = this.#pendingOf(name).map((entry) => entry.at_ms);
    return this.clock.now() - Math.max(this.heardMs, ...times) > STALE_MS;
  }

  /**
   * The batch of the next tap: the one under way, else the last (a trier check after the drop is late, not lost).
   * @returns {string | null}
   */
  get batch() {
    const { batch } = this.view;
    const onServer = batch && !(batch.opened_entry && this.isUndone(batch.opened_entry)) ? batch.code : null;
    const name = this.#begun ?? onServer;
    return name === null || this.#isSame(name, this.dismissed) || this.#isStale(name) ? null : name;
  }

  /** The server's view of that batch; null while it has none. */
  get serverBatch() {
    const { batch } = this;
    return batch !== null && this.#isSame(batch, this.view.batch?.code) ? this.view.batch : null;
  }

  /** The batch that is open or in the drum: its code, or the id of its opening entry; null if there is none. */
  get activeBatch() {
    return this.words.under_way.includes(this.phase) ? this.batch : null;
  }

  /** The entry that opened the batch, if this page knows it. */
  get openedEntry() {
    const { batch } = this;
    return this.serverBatch?.opened_entry ?? (batch !== null && this.pending.has(batch) ? batch : null);
  }

  /** The batch that a charge starts if none is active: one that waits, else a new one. */
  get nextBatch() {
    const charged = [...this.pending.values()].filter(
      ({ id, kind, body }) => kind === "moment" && body.moment === "charge" && !this.isUndone(id),
    );
    const next = this.view.waiting.find(({ code }) => !charged.some((entry) => this.#isSame(entry.batch, code)));
    return (next && !this.#isStale(next.code) && next) || null;
  }

  /** The folded batch: the server's result, or with waiting entries the fold of both. */
  get #known() {
    this.#folded ??= this.#fold();
    return this.#folded;
  }

  #fold() {
    const { batch: name, serverBatch: batch } = this;
    const pending = name === null ? [] : this.#pendingOf(name);
    if (!batch || pending.length) return fold([...(batch?.lines ?? []), ...pending]);
    const moments = new Map(batch.moments.map(({ moment, entry, at_ms: atMs }) => [moment, { entry, atMs }]));
    return { moments, stage: batch.stage, state: batch.state };
  }

  /** Valid moments, with the server time of each. */
  get moments() {
    return this.#known.moments;
  }

  /** @param {string} moment */
  atMs(moment) {
    return this.moments.get(moment)?.atMs ?? null;
  }

  /**
   * Seconds from charge of a server time; null before charge.
   * @param {number} atMs
   */
  secondsFromCharge(atMs) {
    const chargeMs = this.atMs("charge");
    return chargeMs === null ? null : (atMs - chargeMs) / 1000;
  }

  /** The moment that the pad waits for: the first in order after the last one marked; null after the drop. */
  get expected() {
    const order = this.words.expected;
    const { moments } = this;
    return order[Math.max(...order.map((name, index) => (moments.has(name) ? index : -1))) + 1] ?? null;
  }

  /** idle, open, roasting or cooling, including the latest taps. */
  get phase() {
    if (this.batch === null) return "idle";
    const { state } = this.#known;
    if (this.words.under_way.includes(state)) return state;
    if (state !== "cooling") return "idle";
    return this.clock.now() - (this.atMs("drop") ?? 0) > this.words.cooled_ms ? "idle" : "cooling";
  }

  get phaseWord() {
    /** @type {Record<string, string>} */
    const words = { idle: t("idle"), open: t("before charge"), cooling: t("cooling") };
    return words[this.phase] ?? this.serverBatch?.phase ?? t("roasting");
  }

  /** Whether the next batch can be charged while the last one cools. */
  dismissBatch() {
    this.dismissed = this.batch;
    this.changed();
  }

  /**
   * The setting of a control: by waiting entries, else as read from the machine, else by the server's view.
   * @param {string} control
   * @returns {number | null}
   */
  setting(control) {
    const { batch } = this.view;
    const lines = batch?.lines ?? [];
    const pending = [...this.pending.values()];
    const about = idsAbout(control, [...lines, ...pending]);
    const settings = pending.some(({ id }) => about.has(id)) ? fold([...lines, ...pending]).settings : null;
    if (settings) return settings[control] ?? this.machineSettings[control] ?? null;
    return this.machineSettings[control] ?? batch?.settings[control] ?? null;
  }

  /** The colour stage of the last trier check. */
  get stage() {
    return this.#known.stage;
  }
}
