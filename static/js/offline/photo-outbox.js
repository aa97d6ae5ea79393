// Photos wait here until the server has them, in their own queue: entries never wait for a photo. A photo is sent after
// the entry that names it, so the server never has an unnamed one; it may be sent any number of times, from any page
// with an outbox and from the worker.
import { t } from "../core/words.js";
import { IdbQueue } from "./idb-queue.js";
import { BACKOFF_MS } from "./outbox.js";
import { onReconnect } from "./reconnect.js";

export const PLACE = { name: "drumside-photos", store: "photos", version: 2 };
const TIMEOUT_MS = 60_000;
const REFUSALS = [413, 415, 422];

/** Events: `waiting` {count, refused}, `refused` {id, text, reason}. */
export class PhotoOutbox extends EventTarget {
  /** @type {IdbQueue<PhotoItem>} */
  #queue = new IdbQueue(PLACE);
  /** @type {Map<string, number>} */
  #attempts = new Map(); // failed attempts by photo: those with fewer go first
  #failures = 0;
  /** @type {Promise<boolean> | null} */
  #flushing = null;
  #timer = 0;

  /** @param {import("./outbox.js").Outbox} outbox */
  constructor(outbox) {
    super();
    this.outbox = outbox;
  }

  /**
   * @template {keyof PhotoOutboxEvents} Type
   * @param {Type} type
   * @param {(detail: PhotoOutboxEvents[Type]) => void} act
   */
  on(type, act) {
    this.addEventListener(type, (event) => act(/** @type {CustomEvent} */ (event).detail));
  }

  /**
   * @template {keyof PhotoOutboxEvents} Type
   * @param {Type} type
   * @param {PhotoOutboxEvents[Type]} detail
   */
  #emit(type, detail) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }

  /** The photos that may be sent now; also reports the waiting and refused ones. */
  async #look() {
    const all = await this.#queue.all();
    const waiting = all.filter(({ refused }) => !refused);
    this.#emit("waiting", { count: waiting.length, refused: all.length - waiting.length });
    for (const { id, text, refused } of all) if (refused) this.#emit("refused", { id, text, reason: refused });
    const ahead = await this.outbox.photos();
    const attempts = (/** @type {PhotoItem} */ { id }) => this.#attempts.get(id) ?? 0;
    const ready = waiting.filter(({ id }) => !ahead.has(id));
    return { waiting, ready: ready.toSorted((one, other) => attempts(one) - attempts(other)) };
  }

  start() {
    onReconnect(() => this.flush());
    this.outbox.on("state", ({ state, entry }) => {
      if (state === "sent" && entry.body.photo) this.flush();
    });
    return this.flush();
  }

  /**
   * Queue a photo under the name that its entry gave it, then send it; `text` is the entry's text.
   * @param {string} id
   * @param {string} text
   * @param {Blob} picture
   */
  async add(id, text, picture) {
    await this.#queue.append([{ id, text, data: await picture.arrayBuffer() }]); // not every browser can store a blob
    return this.flush();
  }

  /**
   * Send a refused photo again.
   * @param {string} id
   */
  async retry(id) {
    const found = (await this.#queue.all()).find((item) => item.id === id);
    if (!found) return;
    const { refused: _, ...item } = found;
    await this.#queue.replace([item]);
    await this.flush();
  }

  /** @param {string} id */
  async remove(id) {
    await this.#queue.replace([], [id]);
    await this.#look();
  }

  /** Flush, one at a time; returns whether nothing waits now. */
  flush() {
    clearTimeout(this.#timer);
    this.#flushing ??= this.#drain().finally(() => {
      this.#flushing = null;
    });
    return this.#flushing;
  }

  /** A photo that the server cannot accept now waits for the next flush, and the others continue. */
  async #drain() {
    /** @type {Set<string>} */
    const tried = new Set();
    for (;;) {
      const { waiting, ready } = await this.#look();
      const next = ready.find(({ id }) => !tried.has(id));
      if (!next) return this.#finish(waiting, tried);
      tried.add(next.id);
      try {
        await this.#send(next);
        tried.delete(next.id);
        this.#attempts.delete(next.id);
      } catch (error) {
        this.#attempts.set(next.id, (this.#attempts.get(next.id) ?? 0) + 1);
        // No answer at all: the network is down.
        if (!(/** @type {Error} */ (error).cause)) return this.#finish(waiting, tried);
      }
    }
  }

  /**
   * @param {PhotoItem[]} waiting
   * @param {Set<string>} tried
   */
  #finish(waiting, tried) {
    this.#failures = tried.size ? this.#failures + 1 : 0;
    if (tried.size) {
      this.#timer = setTimeout(() => this.flush(), BACKOFF_MS[Math.min(this.#failures, BACKOFF_MS.length) - 1]);
    }
    return !waiting.length;
  }

  /** @param {PhotoItem} item */
  async #send(item) {
    const body = new FormData();
    body.append("picture", new Blob([item.data], { type: "image/jpeg" }), "photo.jpg");
    const answer = await fetch(`/photos/${item.id}`, { method: "POST", body, signal: AbortSignal.timeout(TIMEOUT_MS) });
    if (answer.ok) return this.#queue.replace([], [item.id]);
    if (!REFUSALS.includes(answer.status)) {
      throw new Error(`the server answered ${answer.status}`, { cause: answer.status });
    }
    const { says } = await answer.json().catch(() => ({}));
    return this.#queue.replace([{ ...item, refused: says || t("No reason was given.") }]);
  }
}
