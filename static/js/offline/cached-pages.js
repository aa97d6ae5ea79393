// The pages that the worker cached on this device, newest first, each with its title.
import { byId } from "../core/dom.js";
import { ageText } from "../core/duration.js";
import { t } from "../core/words.js";

/** @typedef {{ path: string, title: string, cachedMs: number }} CachedPage */

const SKIPPED = ["/offline", "/static/", "/vendor/"];
const host = byId("kept-pages");

async function cachedPages() {
  /** @type {Map<string, CachedPage>} */
  const found = new Map();
  for (const name of (await globalThis.caches?.keys()) ?? []) {
    const cache = await caches.open(name);
    for (const request of await cache.keys()) {
      const { pathname, search } = new URL(request.url);
      if (SKIPPED.some((start) => pathname.startsWith(start))) continue;
      const answer = await cache.match(request);
      if (!answer) continue;
      const { title } = new DOMParser().parseFromString(await answer.text(), "text/html");
      const cachedMs = Number(answer.headers.get("x-kept-ms"));
      found.set(pathname, { path: pathname + search, title: title.replace(/ · Drumside$/, ""), cachedMs });
    }
  }
  return [...found.values()].toSorted((one, other) => other.cachedMs - one.cachedMs);
}

/** @param {CachedPage} page */
function row({ path, title, cachedMs }) {
  const link = document.createElement("a");
  link.className = "row";
  link.href = path;
  const name = document.createElement("strong");
  name.className = "lead";
  name.textContent = title;
  const age = document.createElement("span");
  age.className = "quiet";
  age.textContent = t("{time} ago", { time: ageText(cachedMs) });
  link.append(name, age);
  return link;
}

function emptyNote() {
  const note = document.createElement("p");
  note.className = "block quiet";
  note.textContent = t("Nothing yet. A live page is saved once it was opened online.");
  return note;
}

const pages = await cachedPages().catch(() => []);
host.replaceChildren(...(pages.length ? pages.map(row) : [emptyNote()]));
