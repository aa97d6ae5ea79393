// The newest view of each machine that this device saw, for a page that the worker cached earlier.
import { load, store } from "../../core/storage.js";

const keyOf = (/** @type {string} */ id) => `drumside-view-${id}`;

/**
 * The view that a page starts with: the newest seen since that page was cached.
 * @param {View} view
 * @returns {{ view: View, heardMs: number }}
 */
export function newestView(view) {
  const own = { view, heardMs: view.now_ms };
  if (!document.documentElement.dataset.keptMs) return own;
  /** @type {{ view: View, heardMs: number } | null} */
  const seen = load(keyOf(view.machine.id));
  if (!seen || !(seen.view?.now_ms > view.now_ms)) return own;
  // Machine, channels and controls stay those of the page.
  const { machine, channels, controls } = view;
  return { view: { ...seen.view, machine, channels, controls }, heardMs: seen.heardMs };
}

/**
 * Store the view, and the time until which it was known to be valid.
 * @param {import("./state.js").State} state
 */
export function bindViewCache(state) {
  const save = () => store(keyOf(state.view.machine.id), { view: state.view, heardMs: state.heardMs });
  state.addEventListener("update", save);
  addEventListener("pagehide", () => {
    state.setConnected(state.connected);
    save();
  });
}
