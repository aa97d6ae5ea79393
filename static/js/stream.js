// What the server says as it happens. After a loss the page fetches what it missed, before anything new is believed.
const RETRY_MS = 2000;

/** Calls `on[event](data)` for reading, entry, outlook, state, and `on.lost()`, `on.back()`. */
export function follow(url, on) {
  let source = null;
  let lost = false;

  const open = () => {
    source = new EventSource(url);
    source.onopen = () => {
      if (lost) on.back();
      lost = false;
    };
    source.onerror = () => {
      if (!lost) on.lost();
      lost = true;
      // A refused stream (503 when all threads are taken) is closed for good by the browser: ask again ourselves.
      if (source.readyState === EventSource.CLOSED) setTimeout(open, RETRY_MS);
    };
    for (const name of ["reading", "entry", "outlook", "state"]) {
      source.addEventListener(name, (event) => on[name](JSON.parse(event.data)));
    }
  };

  open();
  addEventListener("pagehide", () => source.close());
  addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    lost = true;
    open();
  });
}
