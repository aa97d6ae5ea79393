// Taps are saved before they are sent, and go only when the server has named them. Each may be sent any number of times,
// from any page and from the worker.
import { Clock } from "../core/clock.js";
import { jot, jotted, strike } from "./write-ahead.js";
import { Shelf } from "./idb-queue.js";
import { soon } from "../core/fetch-timeout.js";
import { whenBack } from "./reconnect.js";
import { t } from "../core/words.js";

export const BACKOFF_MS = [500, 1000, 2000, 4000, 7000, 10_000];
const AT_ONCE = 40;

/** A UUID made where the finger is; on plain http the browser has no randomUUID. */
export function newId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

/**
 * Events: `found` {entries} that an earlier page left, `state` {id, state: pressed|saved|sent|refused, result?, entry},
 * `waiting` {count, refused, lasting}, `trouble` {reason, status?}.
 */
export class Outbox extends EventTarget {
  #shelf = new Shelf();
  #known = new Map(); // what waits, as far as this page has told of it
  #failures = 0;
  #flushing = null;
  #timer = 0;
  #started = false;

  constructor(clock = new Clock(Date.now())) {
    super();
    this.clock = clock;
  }

  #tell(type, detail) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }

  /** What waits now, and what the server refused. What another page or the worker has settled meanwhile is told here. */
  async #look() {
    const items = await this.#shelf.all();
    const waiting = items.filter((item) => !item.refused);
    const refused = new Map(items.filter((item) => item.refused).map((item) => [item.id, item]));
    const still = new Set(waiting.map(({ id }) => id));
    for (const [id, item] of this.#known) {
      if (still.has(id)) continue;
      this.#known.delete(id);
      if (refused.has(id)) this.#refused(refused.get(id));
      else this.#tell("state", { ...item, state: "sent" });
    }
    this.#tell("waiting", { count: waiting.length, refused: refused.size, lasting: this.#shelf.lasting });
    return { waiting, refused: [...refused.values()] };
  }

  #refused(item) {
    this.#tell("state", { ...item, state: "refused", result: { reason: item.refused } });
  }

  /** Take up what an earlier page left, and send again whenever the network may be back. */
  async start() {
    whenBack(() => this.flush());
    await this.#adopt();
    const { waiting, refused } = await this.#look();
    waiting.forEach((item) => this.#known.set(item.id, item));
    if (waiting.length) this.#tell("found", { entries: waiting.map(({ entry }) => entry) });
    refused.forEach((item) => this.#refused(item));
    this.#started = true;
    return this.flush();
  }

  /** Put on the shelf what a page that ended had only jotted down; what was sent meanwhile counts once all the same. */
  async #adopt() {
    const left = jotted();
    if (!left.length) return;
    const there = new Set((await this.#shelf.all()).map(({ id }) => id));
    await this.#keep(left.filter(({ id }) => !there.has(id)));
    strike([...there]);
  }

  async #keep(items) {
    if (await this.#shelf.append(items)) strike(items.map(({ id }) => id));
  }

  async add(entries) {
    const { stamp } = this.clock;
    for (const entry of entries) this.#tell("state", { id: entry.id, entry, state: "pressed" });
    const items = entries.map((entry) => ({ id: entry.id, entry, stamp }));
    jot(items);
    const kept = this.#keep(items);
    // It is written down: where nothing else waits to go before it, it need not wait for the database.
    if (this.#started && !stamp && !this.#known.size && !this.#flushing) this.#begin(this.#drain({ items, kept }));
    await kept;
    for (const item of items) {
      this.#known.set(item.id, item);
      this.#tell("state", { ...item, state: "saved" });
    }
    navigator.serviceWorker?.controller?.postMessage({ taps: true });
    await this.#look();
    await this.flush();
  }

  /** Names of the photos that go with what is still here. */
  async photos() {
    return new Set((await this.#shelf.all()).map(({ entry }) => entry.body.photo).filter(Boolean));
  }

  dismiss(id) {
    strike([id]);
    return this.#shelf.exchange([], [id]);
  }

  /** A refused entry, mended, takes the place of the old one; what was about the batch that it opens goes with it. */
  async mend(id, entry) {
    const items = await this.#shelf.all();
    const old = items.find((item) => item.id === id);
    if (!old) return;
    const about = items.filter((item) => item.refused && item.entry.batch === id);
    const again = about.map(({ refused, ...item }) => ({ ...item, entry: { ...item.entry, batch: entry.id } }));
    const mended = { id: entry.id, order: old.order, entry };
    for (const item of [mended, ...again]) this.#known.set(item.id, item);
    await this.#shelf.exchange([mended, ...again], [id]);
    this.#tell("found", { entries: [mended, ...again].map((item) => item.entry) });
    await this.flush();
  }

  /** One flush at a time; what is added meanwhile goes with the next round of the same one. Whether nothing waits now. */
  flush() {
    clearTimeout(this.#timer);
    return this.#flushing ?? this.#begin(this.#drain());
  }

  #begin(flush) {
    this.#flushing = flush.finally(() => {
      this.#flushing = null;
    });
    return this.#flushing;
  }

  /** Send what waits; first what was just said, which is sent while the database takes it. */
  async #drain(said = null) {
    for (let fresh = said; ; fresh = null) {
      const waiting = fresh?.items ?? (await this.#look()).waiting;
      if (!waiting.length) return true;
      try {
        const sending = await this.#timed(waiting.slice(0, AT_ONCE));
        const results = await this.#post(sending);
        await fresh?.kept;
        await this.#settle(sending, results);
        this.#failures = 0;
      } catch (error) {
        this.#failures += 1;
        this.#tell("trouble", { reason: error.message, status: error.cause });
        this.#timer = setTimeout(() => this.flush(), BACKOFF_MS[Math.min(this.#failures, BACKOFF_MS.length) - 1]);
        return false;
      }
    }
  }

  /** Times that were read off a clock which was not sure are put right, once it is. */
  async #timed(items) {
    const doubtful = items.filter((item) => item.stamp);
    if (!doubtful.length) return items;
    if (!this.clock.sure && !(await this.clock.sync())) throw new Error("the server's clock does not answer");
    const timed = items.map(({ stamp, ...item }) => {
      if (!stamp) return item;
      return { ...item, entry: { ...item.entry, at_ms: Math.round(item.entry.at_ms + this.clock.error(stamp)) } };
    });
    await this.#shelf.exchange(timed);
    return timed;
  }

  async #post(waiting) {
    const answer = await soon("/api/entries", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ entries: waiting.map((item) => item.entry) }),
    });
    if (!answer.ok) throw new Error(`the server answered ${answer.status}`, { cause: answer.status });
    return (await answer.json()).results;
  }

  async #settle(waiting, results) {
    const named = new Map(results.map((result) => [result.id, result]));
    const known = waiting.filter((item) => named.has(item.id));
    if (!known.length) throw new Error("the server named none of the taps");
    const isRefused = ({ id }) => named.get(id).status === "refused";
    const refused = known.filter(isRefused).map((item) => ({ ...item, refused: named.get(item.id).reason || t("No reason was given.") }));
    known.forEach(({ id }) => this.#known.delete(id));
    strike(known.map(({ id }) => id)); // where the shelf is the page's memory alone
    await this.#shelf.exchange(refused, known.filter((item) => !isRefused(item)).map(({ id }) => id));
    for (const item of known) {
      const result = named.get(item.id);
      this.#tell("state", { ...item, state: isRefused(item) ? "refused" : "sent", result });
    }
  }
}
