// The newest view of each machine that this device saw, for a page that the worker cached earlier. It is in the
// database, since a browser that is killed loses what it put into its local storage in the last seconds.
import { IdbQueue } from "../../offline/idb-queue.js";

const READ_MS = 1000; // without it a page still works, as it was cached

/** @typedef {{ id: string, view: View, heardMs: number }} SeenView */

/** @type {IdbQueue<SeenView>} */
const views = new IdbQueue({ name: "drumside-views", store: "views", version: 1 });

/**
 * The view that a page starts with: the newest seen since that page was cached.
 * @param {View} view
 * @returns {Promise<{ view: View, heardMs: number }>}
 */
export async function newestView(view) {
  const own = { view, heardMs: view.now_ms };
  if (!document.documentElement.dataset.keptMs) return own;
  const late = new Promise((resolve) => setTimeout(resolve, READ_MS, []));
  const seen = (await Promise.race([views.all(), late])).find(
    (/** @type {SeenView} */ { id }) => id === view.machine.id,
  );
  if (!(seen?.view?.now_ms > view.now_ms)) return own;
  // Machine, channels and controls stay those of the page.
  const { machine, channels, controls } = view;
  return { view: { ...seen.view, machine, channels, controls }, heardMs: seen.heardMs };
}

/**
 * Store the view, and the time until which it was known to be valid.
 * @param {import("./state.js").State} state
 */
export function bindViewCache(state) {
  const save = () =>
    views.replace([{ id: state.view.machine.id, view: state.view, heardMs: state.heardMs }]).catch(() => {
      // the browser stores nothing: a page opened offline shows what was cached
    });
  state.addEventListener("update", save);
  addEventListener("pagehide", () => {
    state.setConnected(state.connected);
    save();
  });
}
