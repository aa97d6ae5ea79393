// A queue in IndexedDB of items that the server does not have yet, or in memory if the browser stores nothing.
const OPEN_MS = 4000; // some browsers neither open a database nor report an error

/** @typedef {{ name: string, store: string, version: number }} Place */

/**
 * @param {Place} place
 * @returns {Promise<IDBDatabase>}
 */
function open({ name, store, version }) {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(name, version);
    request.onupgradeneeded = ({ oldVersion }) => {
      const made =
        oldVersion && request.transaction
          ? request.transaction.objectStore(store)
          : request.result.createObjectStore(store, { keyPath: "id" });
      made.createIndex("order", "order");
    };
    request.onerror = () => reject(request.error);
    request.onsuccess = () => {
      request.result.onversionchange = () => request.result.close(); // a newer version elsewhere must not wait
      resolve(request.result);
    };
    setTimeout(() => reject(new Error("the database does not open")), OPEN_MS);
  });
}

/**
 * Items are {id, order, …, refused?}; `order` is assigned here and continues across pages and tabs.
 * @template {{ id: string, order?: number }} Item
 */
export class IdbQueue {
  #place;
  /** @type {Promise<IDBDatabase> | null} */
  #opened = null;
  /** @type {Map<string, Item>} */
  #inMemory = new Map(); // items that could not be stored

  /** @param {Place} place */
  constructor(place) {
    this.#place = place;
  }

  /** Whether all items would outlast the page. */
  get isDurable() {
    return !this.#inMemory.size;
  }

  /**
   * A phone closes the database of a suspended page: then it is reopened, once.
   * @template T
   * @param {IDBTransactionMode} mode
   * @param {(store: IDBObjectStore) => IDBRequest<T> | void} work
   * @returns {Promise<T | undefined>}
   */
  async #transact(mode, work) {
    for (let again = true; ; again = false) {
      try {
        const database = await (this.#opened ??= open(this.#place));
        return await new Promise((resolve, reject) => {
          const transaction = database.transaction(this.#place.store, mode, { durability: "strict" });
          const request = work(transaction.objectStore(this.#place.store));
          transaction.oncomplete = () => resolve(request?.result);
          transaction.onerror = transaction.onabort = () => reject(transaction.error);
        });
      } catch (error) {
        this.#opened = null;
        if (!again) throw error;
      }
    }
  }

  /**
   * All items in order, those in memory last.
   * @returns {Promise<Item[]>}
   */
  async all() {
    /** @type {Item[]} */
    const stored = (await this.#transact("readonly", (store) => store.getAll()).catch(() => [])) ?? [];
    return [...stored.toSorted((one, other) => (one.order ?? 0) - (other.order ?? 0)), ...this.#inMemory.values()];
  }

  /**
   * Append items. Returns whether they would outlast the page.
   * @param {Item[]} items
   */
  async append(items) {
    const all = [...this.#inMemory.values(), ...items];
    try {
      await this.#transact("readwrite", (store) => {
        const request = store.index("order").openCursor(null, "prev");
        request.onsuccess = () => {
          const last = request.result?.value.order ?? 0;
          all.forEach((item, index) => store.put(Object.assign(item, { order: last + 1 + index })));
        };
      });
      this.#inMemory.clear();
      return true;
    } catch (error) {
      console.warn("Entries are held in this page only:", error);
      items.forEach((item) => this.#inMemory.set(item.id, item));
      return false;
    }
  }

  /**
   * Replace existing items in place, and remove others, in one transaction.
   * @param {Item[]} items
   * @param {string[]} removed
   */
  async replace(items, removed = []) {
    removed.forEach((id) => this.#inMemory.delete(id));
    const stored = items.filter((item) => !this.#inMemory.has(item.id));
    for (const item of items) if (this.#inMemory.has(item.id)) this.#inMemory.set(item.id, item);
    try {
      await this.#transact("readwrite", (store) => {
        removed.forEach((id) => store.delete(id));
        stored.forEach((item) => store.put(item));
      });
    } catch (error) {
      if (this.isDurable) throw error; // otherwise memory is all there is
    }
  }
}
