// Where taps lie until the server has them: IndexedDB, or this page's memory where a browser allows no storage.
const NAME = "drumside";
const STORE = "outbox";

const done = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

class Shelf {
  constructor(database) {
    this.database = database;
    this.lasting = true;
  }

  #write(work) {
    return new Promise((resolve, reject) => {
      const change = this.database.transaction(STORE, "readwrite", { durability: "strict" });
      work(change.objectStore(STORE));
      change.oncomplete = resolve;
      change.onerror = change.onabort = () => reject(change.error);
    });
  }

  all() {
    return done(this.database.transaction(STORE).objectStore(STORE).index("order").getAll());
  }

  put(items) {
    return this.#write((store) => items.forEach((item) => store.put(item)));
  }

  remove(ids) {
    return this.#write((store) => ids.forEach((id) => store.delete(id)));
  }
}

class Memory {
  constructor() {
    this.items = new Map();
    this.lasting = false;
  }

  async all() {
    return [...this.items.values()].sort((one, other) => one.order - other.order);
  }

  async put(items) {
    items.forEach((item) => this.items.set(item.id, item));
  }

  async remove(ids) {
    ids.forEach((id) => this.items.delete(id));
  }
}

/** Items are {id, order, entry, refused?}. */
export async function openShelf() {
  try {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => request.result.createObjectStore(STORE, { keyPath: "id" }).createIndex("order", "order");
    return new Shelf(await done(request));
  } catch {
    return new Memory();
  }
}
