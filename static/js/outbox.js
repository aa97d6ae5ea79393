// Taps are saved before they are sent, and go only when the server has named them. Each may be sent any number of times.
import { openShelf } from "./shelf.js";

const BACKOFF_MS = [500, 1000, 2000, 4000, 7000, 10_000];
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

/** Events: `state` {id, state: pressed|saved|sent|refused, result?, entry}, `waiting` {count}, `trouble` {reason}. */
export class Outbox extends EventTarget {
  #shelf = openShelf();
  #failures = 0;
  #flushing = null;
  #timer = 0;
  #order = Date.now();

  #tell(type, detail) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }

  async #count() {
    const items = await (await this.#shelf).all();
    this.#tell("waiting", { count: items.filter((item) => !item.refused).length, lasting: (await this.#shelf).lasting });
    return items;
  }

  /** Send what an earlier page left, and again whenever the network may be back. */
  async start() {
    addEventListener("online", () => this.flush());
    document.addEventListener("visibilitychange", () => document.hidden || this.flush());
    for (const item of await this.#count()) {
      if (item.refused) this.#tell("state", { ...item, state: "refused", result: { reason: item.refused } });
    }
    return this.flush();
  }

  async add(entries) {
    for (const entry of entries) this.#tell("state", { id: entry.id, entry, state: "pressed" });
    const shelf = await this.#shelf;
    await shelf.put(entries.map((entry) => ({ id: entry.id, order: (this.#order += 1), entry })));
    for (const entry of entries) this.#tell("state", { id: entry.id, entry, state: "saved" });
    await this.#count();
    await this.flush();
  }

  async dismiss(id) {
    await (await this.#shelf).remove([id]);
  }

  /** One flush at a time; what is added meanwhile goes with the next round of the same one. */
  flush() {
    clearTimeout(this.#timer);
    this.#flushing ??= this.#drain().finally(() => {
      this.#flushing = null;
    });
    return this.#flushing;
  }

  async #drain() {
    for (;;) {
      const waiting = (await this.#count()).filter((item) => !item.refused).slice(0, AT_ONCE);
      if (!waiting.length) return;
      try {
        await this.#settle(waiting, await this.#post(waiting));
        this.#failures = 0;
      } catch (error) {
        this.#failures += 1;
        this.#tell("trouble", { reason: error.message });
        this.#timer = setTimeout(() => this.flush(), BACKOFF_MS[Math.min(this.#failures, BACKOFF_MS.length) - 1]);
        return;
      }
    }
  }

  async #post(waiting) {
    const answer = await fetch("/api/entries", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ entries: waiting.map((item) => item.entry) }),
    });
    if (!answer.ok) throw new Error(`the server answered ${answer.status}`);
    return (await answer.json()).results;
  }

  async #settle(waiting, results) {
    const shelf = await this.#shelf;
    const named = new Map(results.map((result) => [result.id, result]));
    const known = waiting.filter((item) => named.has(item.id));
    if (!known.length) throw new Error("the server named none of the taps");
    const refused = known.filter((item) => named.get(item.id).status === "refused");
    await shelf.remove(known.filter((item) => !refused.includes(item)).map((item) => item.id));
    await shelf.put(refused.map((item) => ({ ...item, refused: named.get(item.id).reason || "no reason given" })));
    for (const item of known) {
      const result = named.get(item.id);
      this.#tell("state", { ...item, state: result.status === "refused" ? "refused" : "sent", result });
    }
  }
}
