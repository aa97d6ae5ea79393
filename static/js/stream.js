// What the server says as it happens. Whoever begins to follow, at first or after a loss, fetches what came before.
const RETRY_MS = 2000;

/** Calls `on[event](data)` for reading, entry, outlook, state, and `on.lost()`, `on.open()`. */
export function follow(url, on) {
  let source = null;
  let lost = false;

  const open = () => {
    source = new EventSource(url);
    source.onopen = () => {
      lost = false;
      on.open(); // the first time too: something was said, and read, since the page was made
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
