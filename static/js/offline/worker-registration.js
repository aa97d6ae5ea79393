// Has the worker keep pages for when there is no network. Where there is none (plain HTTP in the LAN, an old browser, one
// that blocks workers) everything else works as it does with one.
const workers = navigator.serviceWorker;

/** Have pages kept that will be needed when the network has gone. */
export async function keep(paths) {
  (await workers?.ready)?.active.postMessage({ keep: paths });
}

const loaded = () => document.readyState === "complete" || new Promise((resolve) => addEventListener("load", resolve, { once: true }));

async function register() {
  if (!workers) return false;
  let had = Boolean(workers.controller);
  await loaded(); // a new worker fetches all files that there are: those that this page waits for come first
  if (!had) keep([location.pathname]); // later ones pass through it
  const registration = await workers.register("/sw.js", { type: "module", updateViaCache: "none" });
  if (!registration) return false; // blocked without a word
  const look = () => document.hidden || registration.update().catch(() => {});
  document.addEventListener("visibilitychange", look);
  document.addEventListener("serverback", look); // it may have been started anew, as a newer one
  // A newer worker changes nothing on a page that is open: the page that is loaded next is the newer one.
  workers.addEventListener("controllerchange", () => {
    if (had) document.dispatchEvent(new Event("newer"));
    had = true;
  });
  return true;
}

/** Whether this browser lets a worker start. */
export const started = register().catch((error) => {
  console.warn("Pages are not kept on this device:", error.message);
  return false;
});
