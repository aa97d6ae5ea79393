// The service worker: keeps the pages of the roast and the bench, and what they are made of, for when there is no network.
// `/sw.js` starts it with the version and the files of the server that sent it. Answers of the API and streams it leaves alone.
import { Outbox } from "./outbox.js";
import { Photobox } from "./photo-outbox.js";

const FAMILY = "drumside-kept-";
const OFFLINE = "/offline";
const PATIENCE_MS = 2500; // for a page that is kept too: a network that hangs must not hold up a roast
const LONG_MS = 20_000; // for a new version's look at those that are kept
const MOST_PAGES = 40;
const PAGES = /^\/($|(start|weigh|scan)$|machines\/[^/]+(\/(start|hand))?$|batches\/[^/]+\/(weigh|label)$)/;
const FILES = /^\/(static|vendor)\//;
const KEPT_MS = "x-kept-ms";

const isPage = (answer) => answer.ok && !answer.redirected && answer.headers.get("content-type")?.startsWith("text/html");
const after = (ms) => new Promise((resolve) => setTimeout(resolve, ms));
const where = ({ pathname, search }) => pathname + search;

/** A copy that knows when it was made, by this device's own clock. */
async function dated(answer) {
  const headers = new Headers(answer.headers);
  headers.delete("content-encoding");
  headers.set(KEPT_MS, Date.now());
  return new Response(await answer.blob(), { headers });
}

/** The kept page, which is told that it is one: `<html data-kept-ms="…">`. */
async function shown(kept) {
  const html = await kept.text();
  return new Response(html.replace("<html", `<html data-kept-ms="${kept.headers.get(KEPT_MS)}"`), { headers: kept.headers });
}

class Keeper {
  constructor({ version, files }) {
    this.name = FAMILY + version;
    this.files = files;
  }

  open() {
    return caches.open(this.name);
  }

  async pages(cache) {
    return (await cache.keys()).filter(({ url }) => PAGES.test(new URL(url).pathname));
  }

  /** Whole or not at all: the version before stays in charge until all that it had kept is here too, made anew. */
  async install() {
    const cache = await this.open();
    await cache.addAll([new Request(OFFLINE, { cache: "reload" }), ...this.files]);
    for (const name of await this.others()) {
      for (const { url } of await this.pages(await caches.open(name))) await this.renew(cache, url);
    }
  }

  async others() {
    return (await caches.keys()).filter((name) => name.startsWith(FAMILY) && name !== this.name);
  }

  async renew(cache, url) {
    const answer = await fetch(url, { cache: "no-cache", signal: AbortSignal.timeout(LONG_MS) });
    if (answer.status >= 500) throw new Error(`${url} answered ${answer.status}`);
    if (isPage(answer)) await cache.put(url, await dated(answer));
  }

  async activate() {
    await Promise.all((await this.others()).map((name) => caches.delete(name)));
    await self.registration.navigationPreload?.enable();
    await self.clients.claim();
  }

  /** Pages that the one that is open will need when the network has gone. */
  async keep(paths) {
    const cache = await this.open();
    for (const path of paths.filter((one) => PAGES.test(one))) await this.renew(cache, path).catch(() => {});
  }

  /** A file of a version never changes, and is asked for once. */
  async file(request) {
    const cache = await this.open();
    const kept = await cache.match(request, { ignoreVary: true });
    if (kept) return kept;
    const answer = await fetch(request);
    if (answer.ok && answer.headers.get("cache-control")?.includes("immutable")) await cache.put(request, answer.clone());
    return answer;
  }

  /** The network's page, and the kept one where that does not come in time. */
  async page(event) {
    const url = new URL(event.request.url);
    const kept = await this.kept(url);
    const asked = this.ask(event, url);
    event.waitUntil(asked.catch(() => {}));
    // What was never kept may take its time, such as a sheet of labels.
    const answer = await (kept ? Promise.race([asked, after(PATIENCE_MS)]) : asked).catch(() => null);
    if (answer && !(kept && answer.status >= 502)) return answer;
    return kept ? shown(kept) : this.instead(url);
  }

  async ask(event, url) {
    const answer = (await event.preloadResponse) ?? (await fetch(event.request));
    if (answer.status === 401) await this.forget();
    else if (PAGES.test(url.pathname) && isPage(answer)) event.waitUntil(this.put(url, answer.clone()));
    return answer;
  }

  async put(url, answer) {
    const cache = await this.open();
    await cache.put(where(url), await dated(answer));
    const pages = await this.pages(cache);
    await Promise.all(pages.slice(0, Math.max(0, pages.length - MOST_PAGES)).map((request) => cache.delete(request)));
  }

  /** This device is not let in any more: what it was shown is not shown again. What waits in the outbox stays. */
  async forget() {
    const cache = await this.open();
    await Promise.all((await this.pages(cache)).map((request) => cache.delete(request)));
  }

  async kept(url) {
    const cache = await this.open();
    return (await cache.match(where(url), { ignoreVary: true })) ?? (PAGES.test(url.pathname) ? cache.match(url.pathname, { ignoreSearch: true, ignoreVary: true }) : undefined);
  }

  /** For a page that was never kept; of Start there may be one of the only machine. */
  async instead(url) {
    const cache = await this.open();
    const starts = url.pathname === "/start" ? (await this.pages(cache)).filter((page) => /machines\/[^/]+\/start$/.test(page.url)) : [];
    return starts.length ? Response.redirect(starts[0].url) : shown(await dated(await cache.match(OFFLINE)));
  }
}

async function send() {
  const outbox = new Outbox();
  const gone = (await outbox.flush()) && (await new Photobox(outbox).flush());
  if (!gone) throw new Error("Taps or photos wait for the server."); // then the browser asks again later
}

export function start(made) {
  const keeper = new Keeper(made);
  const on = (type, act) => self.addEventListener(type, act);
  on("install", (event) => event.waitUntil(keeper.install().then(() => self.skipWaiting())));
  on("activate", (event) => event.waitUntil(keeper.activate()));
  on("message", (event) => {
    if (event.data.keep) event.waitUntil(keeper.keep(event.data.keep));
    if (event.data.taps) event.waitUntil(Promise.resolve(self.registration.sync?.register("taps")).catch(() => {}));
  });
  on("sync", (event) => event.tag === "taps" && event.waitUntil(send()));
  on("fetch", (event) => {
    const { request } = event;
    const url = new URL(request.url);
    if (url.origin !== location.origin) return;
    if (request.mode === "navigate" && request.method === "GET") event.respondWith(keeper.page(event));
    else if (request.mode === "navigate") event.respondWith(fetch(request).catch(() => keeper.instead(url)));
    else if (request.method === "GET" && FILES.test(url.pathname)) event.respondWith(keeper.file(request));
  });
}
