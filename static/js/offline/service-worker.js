// The service worker: caches the pages of the roast and the bench with their assets, for use without a network.
// `/sw.js` starts it with the version and the files of its server. It ignores API answers and streams.
import { Outbox } from "./outbox.js";
import { PhotoOutbox } from "./photo-outbox.js";

const FAMILY = "drumside-kept-";
const OFFLINE = "/offline";
const PAGE_TIMEOUT_MS = 2500; // for a page that is cached too: a network that hangs must not delay a roast
const RENEW_TIMEOUT_MS = 20_000; // for a new version's refresh of the cached pages
const MOST_PAGES = 40;
const PAGES = /^\/($|(start|weigh|scan)$|machines\/[^/]+(\/(start|hand))?$|batches\/[^/]+\/(weigh|label)$)/;
const FILES = /^\/(static|vendor)\//;
const CACHED_MS = "x-kept-ms";

const worker = /** @type {WorkerScope} */ (/** @type {unknown} */ (globalThis));
const isPage = (/** @type {Response} */ answer) =>
  answer.ok && !answer.redirected && answer.headers.get("content-type")?.startsWith("text/html");
/** @type {(ms: number) => Promise<null>} */
const after = (ms) => new Promise((resolve) => setTimeout(resolve, ms, null));
const keyOf = (/** @type {URL} */ { pathname, search }) => pathname + search;

/**
 * A copy that stores when it was made, by this device's own clock.
 * @param {Response} answer
 */
async function dated(answer) {
  const headers = new Headers(answer.headers);
  headers.delete("content-encoding");
  headers.set(CACHED_MS, String(Date.now()));
  return new Response(await answer.blob(), { headers });
}

/**
 * The cached page, marked as such: `<html data-kept-ms="…">`.
 * @param {Response} cached
 */
async function marked(cached) {
  const html = await cached.text();
  const { headers } = cached;
  return new Response(html.replace("<html", `<html data-kept-ms="${headers.get(CACHED_MS)}"`), { headers });
}

class PageCache {
  /** @param {{ version: string, files: string[] }} made */
  constructor({ version, files }) {
    this.name = FAMILY + version;
    this.files = files;
  }

  open() {
    return caches.open(this.name);
  }

  /** @param {Cache} cache */
  async pages(cache) {
    return (await cache.keys()).filter(({ url }) => PAGES.test(new URL(url).pathname));
  }

  /** Atomic: the earlier version stays active until everything that it had cached is cached anew. */
  async install() {
    const cache = await this.open();
    await cache.addAll([new Request(OFFLINE, { cache: "reload" }), ...this.files]);
    for (const name of await this.olderNames()) {
      for (const { url } of await this.pages(await caches.open(name))) await this.renew(cache, url);
    }
  }

  async olderNames() {
    return (await caches.keys()).filter((name) => name.startsWith(FAMILY) && name !== this.name);
  }

  /**
   * @param {Cache} cache
   * @param {string} url
   */
  async renew(cache, url) {
    const answer = await fetch(url, { cache: "no-cache", signal: AbortSignal.timeout(RENEW_TIMEOUT_MS) });
    if (answer.status >= 500) throw new Error(`${url} answered ${answer.status}`);
    if (isPage(answer)) await cache.put(url, await dated(answer));
  }

  async activate() {
    await Promise.all((await this.olderNames()).map((name) => caches.delete(name)));
    await worker.registration.navigationPreload?.enable();
    await worker.clients.claim();
  }

  /**
   * Cache pages that the open page will need without a network.
   * @param {string[]} paths
   */
  async add(paths) {
    const cache = await this.open();
    for (const path of paths.filter((one) => PAGES.test(one))) await this.renew(cache, path).catch(() => {});
  }

  /**
   * The file of a version never changes and is fetched once.
   * @param {Request} request
   */
  async file(request) {
    const cache = await this.open();
    const cached = await cache.match(request, { ignoreVary: true });
    if (cached) return cached;
    const answer = await fetch(request);
    if (answer.ok && answer.headers.get("cache-control")?.includes("immutable")) {
      await cache.put(request, answer.clone());
    }
    return answer;
  }

  /**
   * The network's page, or the cached one if that does not come in time.
   * @param {WorkerFetchEvent} event
   */
  async page(event) {
    const url = new URL(event.request.url);
    const cached = await this.match(url);
    const asked = this.ask(event, url);
    event.waitUntil(asked.catch(() => {}));
    // An uncached page may take longer, such as a sheet of labels.
    const answer = await (cached ? Promise.race([asked, after(PAGE_TIMEOUT_MS)]) : asked).catch(() => null);
    if (answer && !(cached && answer.status >= 502)) return answer;
    return cached ? marked(cached) : this.substitute(url);
  }

  /**
   * @param {WorkerFetchEvent} event
   * @param {URL} url
   */
  async ask(event, url) {
    const answer = (await event.preloadResponse) ?? (await fetch(event.request));
    if (answer.status === 401) await this.removePages();
    else if (PAGES.test(url.pathname) && isPage(answer)) event.waitUntil(this.put(url, answer.clone()));
    return answer;
  }

  /**
   * @param {URL} url
   * @param {Response} answer
   */
  async put(url, answer) {
    const cache = await this.open();
    await cache.put(keyOf(url), await dated(answer));
    const pages = await this.pages(cache);
    const oldest = pages.slice(0, Math.max(0, pages.length - MOST_PAGES));
    await Promise.all(oldest.map((request) => cache.delete(request)));
  }

  /** This device has lost its access: delete its cached pages. Waiting items in the outbox stay. */
  async removePages() {
    const cache = await this.open();
    await Promise.all((await this.pages(cache)).map((request) => cache.delete(request)));
  }

  /** @param {URL} url */
  async match(url) {
    const cache = await this.open();
    const exact = await cache.match(keyOf(url), { ignoreVary: true });
    if (exact || !PAGES.test(url.pathname)) return exact;
    return cache.match(url.pathname, { ignoreSearch: true, ignoreVary: true });
  }

  /**
   * For an uncached page; for Start, the cached page of the only machine.
   * @param {URL} url
   */
  async substitute(url) {
    const cache = await this.open();
    const starts =
      url.pathname === "/start"
        ? (await this.pages(cache)).filter((page) => /machines\/[^/]+\/start$/.test(page.url))
        : [];
    if (starts.length) return Response.redirect(starts[0].url);
    const offline = await cache.match(OFFLINE);
    return offline ? marked(await dated(offline)) : Response.error();
  }
}

async function sendWaiting() {
  const outbox = new Outbox();
  const sent = (await outbox.flush()) && (await new PhotoOutbox(outbox).flush());
  if (!sent) throw new Error("Entries or photos wait for the server."); // so that the browser retries later
}

/** @param {{ version: string, files: string[] }} made */
export function start(made) {
  const cache = new PageCache(made);
  worker.addEventListener("install", (event) => {
    event.waitUntil(cache.install().then(() => worker.skipWaiting()));
  });
  worker.addEventListener("activate", (event) => event.waitUntil(cache.activate()));
  worker.addEventListener("message", (event) => {
    const { keep: paths, taps } = event.data;
    if (paths) event.waitUntil(cache.add(paths));
    if (taps) event.waitUntil(Promise.resolve(worker.registration.sync?.register("taps")).catch(() => {}));
  });
  worker.addEventListener("sync", (event) => {
    if (event.tag === "taps") event.waitUntil(sendWaiting());
  });
  worker.addEventListener("fetch", (event) => {
    const { request } = event;
    const url = new URL(request.url);
    if (url.origin !== location.origin) return;
    if (request.mode === "navigate" && request.method === "GET") event.respondWith(cache.page(event));
    else if (request.mode === "navigate") event.respondWith(fetch(request).catch(() => cache.substitute(url)));
    else if (request.method === "GET" && FILES.test(url.pathname)) event.respondWith(cache.file(request));
  });
}
