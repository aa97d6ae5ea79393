// On a scan page that was kept, a code that is typed opens what this device keeps of its batch.
const WORTH = /^\/batches\/([^/]+)\/(weigh|label)$/;
const bare = (code) => code.toUpperCase().replaceAll(/[^0-9A-Z]/g, "");
const form = document.getElementById("typed");

/** The path of the weigh-out, else of the label of a batch, that is kept here. */
async function keptOf(code) {
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
    const path = form.code.value.trim() && (await keptOf(form.code.value).catch(() => null));
    if (path) location.assign(path);
    else form.submit(); // Find answers, where the server is back; else the page for what was never kept
  });
}
