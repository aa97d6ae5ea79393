// Photos wait here until the server has them, in a database of their own: taps never wait for a photo.
// Each goes under the name that its entry already gave it, and may be sent any number of times.
import { t } from "./words.js";

const NAME = "drumside-photos";
const STORE = "photos";
const AGAIN_MS = 5000;
const PATIENCE_MS = 60_000;
const HOPELESS = [413, 415, 422];

function settled(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = request.onblocked = () => reject(request.error);
  });
}

/** Events: `waiting` {count}, `refused` {reason}. */
export class Photobox extends EventTarget {
  #held = new Map(); // what the browser would not store
  #timer = 0;
  #flushing = null;

  async #store(mode, work) {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "id" });
    const database = await settled(asked);
    try {
      return await settled(work(database.transaction(STORE, mode).objectStore(STORE)));
    } finally {
      database.close();
    }
  }

  async #all() {
    const stored = await this.#store("readonly", (store) => store.getAll()).catch(() => []);
    const all = [...stored, ...this.#held.values()];
    this.dispatchEvent(new CustomEvent("waiting", { detail: { count: all.length } }));
    return all;
  }

  async #forget(id) {
    this.#held.delete(id);
    await this.#store("readwrite", (store) => store.delete(id)).catch(() => null);
  }

  start() {
    addEventListener("online", () => this.flush());
    document.addEventListener("visibilitychange", () => document.hidden || this.flush());
    document.addEventListener("serverback", () => this.flush());
    return this.flush();
  }

  /** Keep a photo under its name, then send it. */
  async add(id, blob) {
    const item = { id, data: await blob.arrayBuffer() }; // not every browser stores a blob
    await this.#store("readwrite", (store) => store.put(item)).catch(() => this.#held.set(id, item));
    return this.flush();
  }

  flush() {
    clearTimeout(this.#timer);
    this.#flushing ??= this.#drain().finally(() => { this.#flushing = null; });
    return this.#flushing;
  }

  async #drain() {
    for (let all = await this.#all(); all.length; all = await this.#all()) {
      try {
        await this.#send(all[0]);
      } catch {
        this.#timer = setTimeout(() => this.flush(), AGAIN_MS);
        return;
      }
    }
  }

  async #send({ id, data }) {
    const body = new FormData();
    body.append("picture", new Blob([data], { type: "image/jpeg" }), "photo.jpg");
    const answer = await fetch(`/photos/${id}`, { method: "POST", body, signal: AbortSignal.timeout(PATIENCE_MS) });
    if (!answer.ok && !HOPELESS.includes(answer.status)) throw new Error(`the server answered ${answer.status}`);
    if (!answer.ok) {
      const { says = t("The photo was not kept.") } = await answer.json().catch(() => ({}));
      this.dispatchEvent(new CustomEvent("refused", { detail: { reason: says } }));
    }
    await this.#forget(id);
  }
}
