// On a cached scan page, a typed code opens the page of that batch which this device has cached.
import { byId } from "../core/dom.js";

const WORTH = /^\/batches\/([^/]+)\/(weigh|label)$/;
const bare = (/** @type {string} */ code) => code.toUpperCase().replaceAll(/[^0-9A-Z]/g, "");
const form = byId("typed", HTMLFormElement);

/**
 * The cached weigh-out page of a batch, else its label page.
 * @param {string} code
 */
async function cachedPath(code) {
  /** @type {string[]} */
  const found = [];
  for (const name of await caches.keys()) {
    for (const { url } of await (await caches.open(name)).keys()) {
      const { pathname } = new URL(url);
      if (bare(decodeURIComponent(WORTH.exec(pathname)?.[1] ?? "")) === bare(code)) found.push(pathname);
    }
  }
  return found.toSorted().at(-1); // “weigh” comes after “label”
}

if (document.documentElement.dataset.keptMs) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const code = byId("code", HTMLInputElement).value;
    const path = code.trim() && (await cachedPath(code).catch(() => null));
    if (path) location.assign(path);
    else form.submit(); // Find answers if the server is back, else the page for anything that was never cached
  });
}
