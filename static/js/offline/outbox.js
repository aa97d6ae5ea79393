// Entries are saved before they are sent, and removed only when the server has acknowledged them. Each may be sent any
// number of times, from any page and from the worker.
import { Clock } from "../core/clock.js";
import { fetchWithTimeout } from "../core/fetch-timeout.js";
import { t } from "../core/words.js";
import { IdbQueue } from "./idb-queue.js";
import { onReconnect } from "./reconnect.js";
import { readWritten, removeWritten, writeAhead } from "./write-ahead.js";

export const BACKOFF_MS = [500, 1000, 2000, 4000, 7000, 10_000];
const AT_ONCE = 40;
export const PLACE = { name: "drumside", store: "outbox", version: 1 };

/** @typedef {Map<string, EntryResult>} Results */

/** A UUID made on this device; over plain HTTP the browser has no randomUUID. */
export function newId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

/**
 * Events: `found` {entries} from an earlier page, `state` {id, state: pressed|saved|sent|refused, result?, entry},
 * `waiting` {count, refused, isDurable}, `trouble` {reason, status?}.
 */
export class Outbox extends EventTarget {
  /** @type {IdbQueue<OutboxItem>} */
  #queue = new IdbQueue(PLACE);
  /** @type {Map<string, OutboxItem>} */
  #waiting = new Map(); // waiting items that this page has reported
  #failures = 0;
  /** @type {Promise<boolean> | null} */
  #flushing = null;
  #timer = 0;
  #isStarted = false;

  constructor(clock = new Clock(Date.now())) {
    super();
    this.clock = clock;
  }

  /**
   * @template {keyof OutboxEvents} Type
   * @param {Type} type
   * @param {(detail: OutboxEvents[Type]) => void} act
   */
  on(type, act) {
    this.addEventListener(type, (event) => act(/** @type {CustomEvent} */ (event).detail));
  }

  /**
   * @template {keyof OutboxEvents} Type
   * @param {Type} type
   * @param {OutboxEvents[Type]} detail
   */
  #emit(type, detail) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }

  /**
   * Report the waiting and the refused items, and those that another page or the worker has settled meanwhile.
   */
  async #look() {
    const items = await this.#queue.all();
    const waiting = items.filter((item) => !item.refused);
    const refused = new Map(items.filter((item) => item.refused).map((item) => [item.id, item]));
    const still = new Set(waiting.map(({ id }) => id));
    for (const [id, item] of this.#waiting) {
      if (still.has(id)) continue;
      this.#waiting.delete(id);
      const back = refused.get(id);
      if (back) this.#emitRefused(back);
      else this.#emit("state", { ...item, state: "sent" });
    }
    this.#emit("waiting", { count: waiting.length, refused: refused.size, isDurable: this.#queue.isDurable });
    return { waiting, refused: [...refused.values()] };
  }

  /** @param {OutboxItem} item */
  #emitRefused(item) {
    this.#emit("state", { ...item, state: "refused", result: { reason: item.refused } });
  }

  /** Load items of an earlier page, and send again whenever the network may be back. */
  async start() {
    onReconnect(() => this.flush());
    await this.#adopt();
    const { waiting, refused } = await this.#look();
    waiting.forEach((item) => this.#waiting.set(item.id, item));
    if (waiting.length) this.#emit("found", { entries: waiting.map(({ entry }) => entry) });
    refused.forEach((item) => this.#emitRefused(item));
    this.#isStarted = true;
    return this.flush();
  }

  /** Queue items that an earlier page had only written ahead; items sent meanwhile still count once. */
  async #adopt() {
    const left = readWritten();
    if (!left.length) return;
    const queued = new Set((await this.#queue.all()).map(({ id }) => id));
    await this.#append(left.filter(({ id }) => !queued.has(id)));
    removeWritten([...queued]);
  }

  /** @param {OutboxItem[]} items */
  async #append(items) {
    if (await this.#queue.append(items)) removeWritten(items.map(({ id }) => id));
  }

  /** @param {Entry[]} entries */
  async add(entries) {
    const { stamp } = this.clock;
    for (const entry of entries) this.#emit("state", { id: entry.id, entry, state: "pressed" });
    const items = entries.map((entry) => ({ id: entry.id, entry, stamp }));
    writeAhead(items);
    const saved = this.#append(items);
    // It is written ahead: if no other item must go first, it need not wait for the database.
    const isFirst = this.#isStarted && !stamp && !this.#waiting.size && !this.#flushing;
    if (isFirst) this.#begin(this.#drain({ items, saved }));
    await saved;
    for (const item of items) {
      this.#waiting.set(item.id, item);
      this.#emit("state", { ...item, state: "saved" });
    }
    navigator.serviceWorker?.controller?.postMessage({ taps: true });
    await this.#look();
    await this.flush();
  }

  /** Names of the photos of items that are still here. */
  async photos() {
    return new Set((await this.#queue.all()).map(({ entry }) => entry.body.photo).filter(Boolean));
  }

  /** @param {string} id */
  dismiss(id) {
    removeWritten([id]);
    return this.#queue.replace([], [id]);
  }

  /**
   * Replace a refused entry by a corrected one; entries about the batch that it opens are sent again with it.
   * @param {string} id
   * @param {Entry} entry
   */
  async correct(id, entry) {
    const items = await this.#queue.all();
    const old = items.find((item) => item.id === id);
    if (!old) return;
    const about = items.filter((item) => item.refused && item.entry.batch === id);
    const again = about.map(({ refused: _, ...item }) => ({ ...item, entry: { ...item.entry, batch: entry.id } }));
    const corrected = { id: entry.id, order: old.order, entry };
    for (const item of [corrected, ...again]) this.#waiting.set(item.id, item);
    await this.#queue.replace([corrected, ...again], [id]);
    this.#emit("found", { entries: [corrected, ...again].map((item) => item.entry) });
    await this.flush();
  }

  /**
   * Flush, one at a time; items added meanwhile go with its next round. Returns whether nothing waits now.
   */
  flush() {
    clearTimeout(this.#timer);
    return this.#flushing ?? this.#begin(this.#drain());
  }

  /** @param {Promise<boolean>} flush */
  #begin(flush) {
    this.#flushing = flush.finally(() => {
      this.#flushing = null;
    });
    return this.#flushing;
  }

  /**
   * Send waiting items; first the newest entries, which are sent while the database stores them.
   * @param {{ items: OutboxItem[], saved: Promise<void> } | null} made
   */
  async #drain(made = null) {
    for (let fresh = made; ; fresh = null) {
      const waiting = fresh?.items ?? (await this.#look()).waiting;
      if (!waiting.length) return true;
      try {
        const sending = await this.#timed(waiting.slice(0, AT_ONCE));
        const results = await this.#post(sending);
        await fresh?.saved;
        await this.#settle(sending, results);
        this.#failures = 0;
      } catch (error) {
        this.#failures += 1;
        const { message, cause } = /** @type {Error} */ (error);
        this.#emit("trouble", { reason: message, status: cause });
        this.#timer = setTimeout(() => this.flush(), BACKOFF_MS[Math.min(this.#failures, BACKOFF_MS.length) - 1]);
        return false;
      }
    }
  }

  /**
   * Correct times that were read from an inexact clock, once it is exact.
   * @param {OutboxItem[]} items
   */
  async #timed(items) {
    if (!items.some((item) => item.stamp)) return items;
    if (!this.clock.isExact && !(await this.clock.sync())) throw new Error("the server's clock does not answer");
    const timed = items.map(({ stamp, ...item }) => {
      if (!stamp) return item;
      return { ...item, entry: { ...item.entry, at_ms: Math.round(item.entry.at_ms + this.clock.error(stamp)) } };
    });
    await this.#queue.replace(timed);
    return timed;
  }

  /**
   * @param {OutboxItem[]} waiting
   * @returns {Promise<Results>}
   */
  async #post(waiting) {
    const answer = await fetchWithTimeout("/api/entries", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ entries: waiting.map((item) => item.entry) }),
    });
    if (!answer.ok) throw new Error(`the server answered ${answer.status}`, { cause: answer.status });
    /** @type {{ results: EntryResult[] }} */
    const { results } = await answer.json();
    return new Map(results.map((result) => [result.id, result]));
  }

  /**
   * @param {OutboxItem[]} waiting
   * @param {Results} results
   */
  async #settle(waiting, results) {
    const named = waiting.filter((item) => results.has(item.id));
    if (!named.length) throw new Error("the server named none of the entries");
    const isRefused = (/** @type {OutboxItem} */ { id }) => results.get(id)?.status === "refused";
    const refused = named
      .filter(isRefused)
      .map((item) => ({ ...item, refused: results.get(item.id)?.reason || t("No reason was given.") }));
    named.forEach(({ id }) => this.#waiting.delete(id));
    removeWritten(named.map(({ id }) => id)); // if the queue is in memory only
    const kept = named.filter((item) => !isRefused(item)).map(({ id }) => id);
    await this.#queue.replace(refused, kept);
    for (const item of named) {
      this.#emit("state", { ...item, state: isRefused(item) ? "refused" : "sent", result: results.get(item.id) });
    }
  }
}
