// Where taps, and photos, lie until the server has them: IndexedDB, or this page's memory for what the browser would not store.
const TAPS = { name: "drumside", store: "outbox", version: 1 };
const OPEN_MS = 4000; // some browsers neither open a database nor say no

function open({ name, store, version }) {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(name, version);
    request.onupgradeneeded = ({ oldVersion }) => {
      const made = oldVersion ? request.transaction.objectStore(store) : request.result.createObjectStore(store, { keyPath: "id" });
      made.createIndex("order", "order");
    };
    request.onerror = () => reject(request.error);
    request.onsuccess = () => {
      request.result.onversionchange = () => request.result.close(); // a newer version elsewhere must not wait for us
      resolve(request.result);
    };
    setTimeout(() => reject(new Error("the database does not open")), OPEN_MS);
  });
}

/** Items are {id, order, …, refused?}; `order` is given here, and goes on across pages and tabs. */
export class Shelf {
  #place;
  #opened = null;
  #held = new Map(); // what could not be stored

  constructor(place = TAPS) {
    this.#place = place;
  }

  /** Whether all that lies here would outlast the page. */
  get lasting() {
    return !this.#held.size;
  }

  /** A phone closes the database of a page that it put aside: then it is opened anew, once. */
  async #change(mode, work) {
    for (let again = true; ; again = false) {
      try {
        const database = await (this.#opened ??= open(this.#place));
        return await new Promise((resolve, reject) => {
          const change = database.transaction(this.#place.store, mode, { durability: "strict" });
          const asked = work(change.objectStore(this.#place.store));
          change.oncomplete = () => resolve(asked?.result);
          change.onerror = change.onabort = () => reject(change.error);
        });
      } catch (error) {
        this.#opened = null;
        if (!again) throw error;
      }
    }
  }

  /** All items in their order, those that are held in the page after the others. */
  async all() {
    const stored = await this.#change("readonly", (store) => store.getAll()).catch(() => []);
    return [...stored.toSorted((one, other) => (one.order ?? 0) - (other.order ?? 0)), ...this.#held.values()];
  }

  /** Put items after all others. Whether they would outlast the page. */
  async append(items) {
    const all = [...this.#held.values(), ...items];
    try {
      await this.#change("readwrite", (store) => {
        store.index("order").openCursor(null, "prev").onsuccess = ({ target }) => {
          const last = target.result?.value.order ?? 0;
          all.forEach((item, index) => store.put(Object.assign(item, { order: last + 1 + index })));
        };
      });
      this.#held.clear();
      return true;
    } catch (error) {
      console.warn("What was said is held in this page only:", error);
      items.forEach((item) => this.#held.set(item.id, item));
      return false;
    }
  }

  /** Exchange items that lie here already for what became of them, each in its place, and take some away, in one step. */
  async exchange(items, gone = []) {
    gone.forEach((id) => this.#held.delete(id));
    const stored = items.filter((item) => !this.#held.has(item.id) || !this.#held.set(item.id, item));
    try {
      await this.#change("readwrite", (store) => {
        gone.forEach((id) => store.delete(id));
        stored.forEach((item) => store.put(item));
      });
    } catch (error) {
      if (this.lasting) throw error; // else the page's memory is all there is
    }
  }
}
