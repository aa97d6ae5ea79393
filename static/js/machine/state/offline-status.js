// The cache state of the live page: the bench pages needed next are cached with it, and the log sheet shows the state.
import { byId, setText } from "../../core/dom.js";
import { t } from "../../core/words.js";
import { cachePages } from "../../offline/worker-registration.js";

const CACHED = t("This page also opens offline. Taps are then saved here and sent automatically.");
const NOT_CACHED = t("Offline taps are saved on this device. But once closed, this page does not open offline:");
const WHY = window.isSecureContext ? t("this browser stores no pages.") : t("that needs a secure address (https).");

/** @param {import("./state.js").State} state */
export function bindOfflineStatus(state) {
  /** @type {string | null} */
  let cachedFor = null;
  const machine = `/machines/${encodeURIComponent(state.view.machine.id)}`;
  const byHand = state.view.channels.some((channel) => channel.by_hand) ? [`${machine}/hand`] : [];
  if (state.connected) cachePages(["/", "/scan", `${machine}/start`, ...byHand]);
  state.addEventListener("change", () => {
    const { serverBatch } = state;
    if (!serverBatch || !state.connected || serverBatch.code === cachedFor) return;
    cachedFor = serverBatch.code;
    cachePages([`/batches/${encodeURIComponent(cachedFor)}/weigh`]);
  });
  const line = byId("kept-line");
  setText(line, `${NOT_CACHED} ${WHY}`);
  // If there is a worker, and it could start.
  if ("serviceWorker" in navigator) navigator.serviceWorker.ready.then(() => setText(line, CACHED));
  // Never under a finger: only a person's request loads the newer page now.
  document.addEventListener("newer", () => {
    byId("newer").hidden = false;
  });
  byId("newer-load").addEventListener("click", () => location.reload());
}
