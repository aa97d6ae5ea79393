// What the server says as it happens. Whoever begins to follow, at first or after a loss, fetches what came before.
import { soon } from "../../core/fetch-timeout.js";

const RETRY_MS = 2000;
const QUIET_MS = 12_000; // readings come each second; a keep-alive is not told to pages
const LOOK_MS = 3000;

/** Calls `on[event](data)` for reading, entry, outlook, state, curve, photo, and `on.lost()`, `on.open()`. */
export function follow(url, on) {
  let source = null;
  let lost = false;
  let heardAt = 0;
  let asking = false;

  const heard = () => (heardAt = performance.now());
  const lose = () => {
    if (!lost) on.lost();
    lost = true;
  };
  const open = () => {
    source?.close();
    source = new EventSource(url);
    heard();
    source.onopen = () => {
      lost = false;
      heard();
      on.open(); // the first time too: something was said, and read, since the page was made
    };
    source.onerror = () => {
      lose();
      // A refused stream (503 when all threads are taken) is closed for good by the browser: ask again ourselves.
      if (source.readyState === EventSource.CLOSED) setTimeout(open, RETRY_MS);
    };
    for (const name of ["reading", "entry", "outlook", "state", "curve", "photo"]) {
      source.addEventListener(name, (event) => {
        heard();
        on[name](JSON.parse(event.data));
      });
    }
  };
  /** Nothing for long: the machine is silent, or the network hangs and tells nobody. */
  const look = async () => {
    if (document.hidden || asking || performance.now() - heardAt < QUIET_MS) return;
    asking = true;
    const there = await soon("/api/clock", { cache: "no-store" }).then(({ ok }) => ok, () => false);
    asking = false;
    heard();
    if (there && !lost) return;
    lose();
    open();
  };

  open();
  setInterval(look, LOOK_MS);
  addEventListener("online", () => lost && open());
  addEventListener("pagehide", () => source.close());
  addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    lost = true;
    open();
  });
}
