// Registers the service worker, which caches pages for offline use. Without one (plain HTTP in the LAN, an old browser,
// one that blocks workers) everything else works the same.
import { whenSettled } from "../core/idle.js";

const workers = /** @type {ServiceWorkerContainer | undefined} */ (navigator.serviceWorker);

/**
 * Cache pages that will be needed without a network.
 * @param {string[]} paths
 */
export async function cachePages(paths) {
  (await workers?.ready)?.active?.postMessage({ keep: paths });
}

async function register() {
  if (!workers) return false;
  let hadWorker = Boolean(workers.controller);
  await new Promise((resolve) => whenSettled(() => resolve(null))); // a new worker fetches all files
  if (!hadWorker) cachePages([location.pathname]); // later pages pass through the worker
  const options = /** @type {const} */ ({ type: "module", updateViaCache: "none" });
  /** @type {ServiceWorkerRegistration | undefined} */
  const registration = await workers.register("/sw.js", options);
  if (!registration) return false; // blocked without an error
  const update = () => document.hidden || registration.update().catch(() => {});
  document.addEventListener("visibilitychange", update);
  document.addEventListener("serverback", update); // the server may have restarted with a newer version
  // A newer worker changes nothing on an open page: the next page loaded is the newer one.
  workers.addEventListener("controllerchange", () => {
    if (hadWorker) document.dispatchEvent(new Event("newer"));
    hadWorker = true;
  });
  return true;
}

/** Whether this browser lets a worker start. */
export const registered = register().catch((error) => {
  console.warn("Pages are not cached on this device:", error.message);
  return false;
});
