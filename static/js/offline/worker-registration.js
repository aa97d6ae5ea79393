// Registers the service worker, which caches pages for when there is no network. Where there is none (plain HTTP in the
// LAN, an old browser, one that blocks workers) everything else works as it does with one.
const workers = /** @type {ServiceWorkerContainer | undefined} */ (navigator.serviceWorker);

/**
 * Have pages cached that will be needed when the network has gone.
 * @param {string[]} paths
 */
export async function cachePages(paths) {
  (await workers?.ready)?.active?.postMessage({ keep: paths });
}

const loaded = () =>
  document.readyState === "complete" || new Promise((resolve) => addEventListener("load", resolve, { once: true }));

async function register() {
  if (!workers) return false;
  let hadWorker = Boolean(workers.controller);
  await loaded(); // a new worker fetches all files that there are: those that this page waits for come first
  if (!hadWorker) cachePages([location.pathname]); // later ones pass through it
  const options = /** @type {const} */ ({ type: "module", updateViaCache: "none" });
  /** @type {ServiceWorkerRegistration | undefined} */
  const registration = await workers.register("/sw.js", options);
  if (!registration) return false; // blocked without a word
  const update = () => document.hidden || registration.update().catch(() => {});
  document.addEventListener("visibilitychange", update);
  document.addEventListener("serverback", update); // it may have been started anew, as a newer one
  // A newer worker changes nothing on a page that is open: the page that is loaded next is the newer one.
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
