// The newest view of each machine that this device saw, for a page that the worker cached earlier. It is stored twice:
// a database of a slow phone may not answer, and a killed browser loses the last seconds of its local storage.
import { load, store } from "../../core/storage.js";
import { IdbQueue } from "../../offline/idb-queue.js";

const READ_MS = 1000;

/** @typedef {{ id: string, view: View, heardMs: number, settled?: Entry[] }} SeenView */

/** @type {IdbQueue<SeenView>} */
const views = new IdbQueue({ name: "drumside-views", store: "views", version: 1 });
const keyOf = (/** @type {string} */ id) => `drumside-view-${id}`;

/**
 * The newest view of a machine that this device has stored.
 * @param {string} machine
 * @returns {Promise<SeenView | undefined>}
 */
async function storedView(machine) {
  const late = new Promise((resolve) => setTimeout(resolve, READ_MS, []));
  /** @type {SeenView[]} */
  const stored = await Promise.race([views.all(), late]);
  return [load(keyOf(machine)), ...stored]
    .filter((seen) => seen?.view?.machine.id === machine)
    .toSorted((one, other) => other.view.now_ms - one.view.now_ms)[0];
}

/**
 * The view that a page starts with: the newest seen since that page was cached; and the entries that the server has,
 * but this view does not contain yet.
 * @param {View} view
 * @returns {Promise<{ view: View, heardMs: number, settled: Entry[] }>}
 */
export async function newestView(view) {
  const own = { view, heardMs: view.now_ms, settled: [] };
  if (!document.documentElement.dataset.keptMs) return own;
  const seen = await storedView(view.machine.id);
  if (!seen) return own;
  const settled = seen.settled ?? [];
  if (seen.view.now_ms <= view.now_ms) {
    return { ...own, settled: settled.filter(({ at_ms: atMs }) => atMs > view.now_ms) }; // a view made later has them
  }
  // Machine, channels and controls stay those of the page.
  const { machine, channels, controls } = view;
  return { view: { ...seen.view, machine, channels, controls }, heardMs: seen.heardMs, settled };
}

/**
 * Store the view, the time until which it was known to be valid, and the entries that the server acknowledged since.
 * @param {import("./state.js").State} state
 * @param {import("./sync.js").Sync} sync
 */
export function bindViewCache(state, sync) {
  const save = () => {
    const seen = { id: state.view.machine.id, view: state.view, heardMs: state.heardMs, settled: sync.settled() };
    store(keyOf(seen.id), seen);
    views.replace([seen]).catch(() => {
      // the browser stores nothing: a page opened offline shows what was cached
    });
  };
  state.addEventListener("update", save);
  sync.onSettled = save; // the queue drops an acknowledged entry, and a page reloaded offline would not know it
  addEventListener("pagehide", () => {
    state.setConnected(state.connected);
    save();
  });
}
