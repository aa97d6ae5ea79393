// The pages that the worker kept on this device, newest first, each under its own title.
import { ago } from "../core/duration.js";
import { t } from "../core/words.js";

const SKIPPED = ["/offline", "/static/", "/vendor/"];
const host = document.getElementById("kept-pages");

async function pages() {
  const found = new Map();
  for (const name of (await globalThis.caches?.keys()) ?? []) {
    const cache = await caches.open(name);
    for (const request of await cache.keys()) {
      const { pathname, search } = new URL(request.url);
      if (SKIPPED.some((start) => pathname.startsWith(start))) continue;
      const answer = await cache.match(request);
      const title = new DOMParser().parseFromString(await answer.text(), "text/html").title.replace(/ · Drumside$/, "");
      found.set(pathname, { path: pathname + search, title, keptMs: Number(answer.headers.get("x-kept-ms")) });
    }
  }
  return [...found.values()].sort((one, other) => other.keptMs - one.keptMs);
}

function row({ path, title, keptMs }) {
  const link = document.createElement("a");
  link.className = "row";
  link.href = path;
  const name = document.createElement("strong");
  name.className = "lead";
  name.textContent = title;
  const age = document.createElement("span");
  age.className = "quiet";
  age.textContent = t("as of {time} ago", { time: ago(keptMs) });
  link.append(name, age);
  return link;
}

function nothing() {
  const says = document.createElement("p");
  says.className = "block quiet";
  says.textContent = t("Nothing yet. A live page is kept once it was opened with the server in reach.");
  return says;
}

const kept = await pages().catch(() => []);
host.replaceChildren(...(kept.length ? kept.map(row) : [nothing()]));
