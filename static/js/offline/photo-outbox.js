// Photos wait here until the server has them, on a shelf of their own: taps never wait for a photo. A photo goes once the
// tap that names it has gone, so the server never has one that nobody names; it may be sent any number of times, from any page
// that has an outbox and from the worker.
import { BACKOFF_MS } from "./outbox.js";
import { Shelf } from "./idb-queue.js";
import { whenBack } from "./reconnect.js";
import { t } from "../core/words.js";

const PLACE = { name: "drumside-photos", store: "photos", version: 2 };
const PATIENCE_MS = 60_000;
const REFUSES = [413, 415, 422];

/** Events: `waiting` {count, refused}, `refused` {id, text, reason}. Items are {id, text, data, refused?}. */
export class Photobox extends EventTarget {
  #shelf = new Shelf(PLACE);
  #failed = new Map(); // how often a photo was sent in vain: it goes after those that were not
  #failures = 0;
  #flushing = null;
  #timer = 0;

  constructor(outbox) {
    super();
    this.outbox = outbox;
  }

  #tell(type, detail) {
    this.dispatchEvent(new CustomEvent(type, { detail }));
  }

  /** What may be sent now; what waits and what was refused is told. */
  async #look() {
    const all = await this.#shelf.all();
    const waiting = all.filter(({ refused }) => !refused);
    this.#tell("waiting", { count: waiting.length, refused: all.length - waiting.length });
    for (const { id, text, refused } of all) if (refused) this.#tell("refused", { id, text, reason: refused });
    const ahead = await this.outbox.photos();
    const tries = ({ id }) => this.#failed.get(id) ?? 0;
    return { waiting, ready: waiting.filter(({ id }) => !ahead.has(id)).toSorted((one, other) => tries(one) - tries(other)) };
  }

  start() {
    whenBack(() => this.flush());
    this.outbox.addEventListener("state", ({ detail: { state, entry } }) => state === "sent" && entry.body.photo && this.flush());
    return this.flush();
  }

  /** Keep a photo under the name that its tap gave it, then send it; `text` is what the tap said. */
  async add(id, text, picture) {
    await this.#shelf.append([{ id, text, data: await picture.arrayBuffer() }]); // not every browser stores a blob
    return this.flush();
  }

  /** Send one again that was refused. */
  async again(id) {
    const found = (await this.#shelf.all()).find((item) => item.id === id);
    if (!found) return;
    const { refused, ...item } = found;
    await this.#shelf.exchange([item]);
    await this.flush();
  }

  async drop(id) {
    await this.#shelf.exchange([], [id]);
    await this.#look();
  }

  /** One flush at a time; whether nothing waits now. */
  flush() {
    clearTimeout(this.#timer);
    this.#flushing ??= this.#drain().finally(() => {
      this.#flushing = null;
    });
    return this.#flushing;
  }

  /** One that the server cannot take now is left for the next time, and the others go on. */
  async #drain() {
    const tried = new Set();
    for (;;) {
      const { waiting, ready } = await this.#look();
      const next = ready.find(({ id }) => !tried.has(id));
      if (!next) return this.#done(waiting, tried);
      tried.add(next.id);
      try {
        await this.#send(next);
        tried.delete(next.id);
        this.#failed.delete(next.id);
      } catch (error) {
        this.#failed.set(next.id, (this.#failed.get(next.id) ?? 0) + 1);
        if (!error.cause) return this.#done(waiting, tried); // no answer at all: the network is away
      }
    }
  }

  #done(waiting, tried) {
    this.#failures = tried.size ? this.#failures + 1 : 0;
    if (tried.size) this.#timer = setTimeout(() => this.flush(), BACKOFF_MS[Math.min(this.#failures, BACKOFF_MS.length) - 1]);
    return !waiting.length;
  }

  async #send(item) {
    const body = new FormData();
    body.append("picture", new Blob([item.data], { type: "image/jpeg" }), "photo.jpg");
    const answer = await fetch(`/photos/${item.id}`, { method: "POST", body, signal: AbortSignal.timeout(PATIENCE_MS) });
    if (answer.ok) return this.#shelf.exchange([], [item.id]);
    if (!REFUSES.includes(answer.status)) throw new Error(`the server answered ${answer.status}`, { cause: answer.status });
    const { says } = await answer.json().catch(() => ({}));
    return this.#shelf.exchange([{ ...item, refused: says || t("No reason was given.") }]);
  }
}
