// The server's event stream. A page that starts to follow, at first or after a lost connection, fetches the state
// before it.
import { fetchWithTimeout } from "../../core/fetch-timeout.js";

const RETRY_MS = 2000;
const QUIET_MS = 12_000; // readings come each second; pages do not see keep-alives
const LOOK_MS = 3000;
const EVENTS = /** @type {const} */ (["reading", "entry", "outlook", "state", "curve", "photo"]);

/**
 * @typedef {object} Handlers
 * @property {(reading: Reading) => void} reading
 * @property {(event: FlushEvent) => void} entry
 * @property {(outlook: Outlook) => void} outlook
 * @property {(state: MachineState) => void} state
 * @property {() => void} curve
 * @property {(photo: { name: string }) => void} photo
 * @property {() => void} lost
 * @property {() => void} open
 */

/**
 * @param {string} url
 * @param {Handlers} on
 */
export function follow(url, on) {
  /** @type {EventSource | null} */
  let source = null;
  let lost = false;
  let heardAt = 0;
  let isAsking = false;

  const heard = () => {
    heardAt = performance.now();
  };
  const lose = () => {
    if (!lost) on.lost();
    lost = true;
  };
  const open = () => {
    source?.close();
    const opened = new EventSource(url);
    source = opened;
    heard();
    opened.onopen = () => {
      lost = false;
      heard();
      on.open(); // the first time too: entries and readings may have come since the page was made
    };
    opened.onerror = () => {
      lose();
      // A browser never reopens a refused stream (503 when too many are open): reconnect here.
      if (opened.readyState === EventSource.CLOSED) setTimeout(open, RETRY_MS);
    };
    for (const name of EVENTS) {
      opened.addEventListener(name, (event) => {
        heard();
        on[name](JSON.parse(event.data));
      });
    }
  };
  /** No event for long: the machine is silent, or the network hangs without an error. */
  const look = async () => {
    if (document.hidden || isAsking || performance.now() - heardAt < QUIET_MS) return;
    isAsking = true;
    const answered = await fetchWithTimeout("/api/clock", { cache: "no-store" }).then(
      ({ ok }) => ok,
      () => false,
    );
    isAsking = false;
    heard();
    if (answered && !lost) return;
    lose();
    open();
  };

  open();
  setInterval(look, LOOK_MS);
  addEventListener("online", () => lost && open());
  addEventListener("pagehide", () => source?.close());
  addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    lost = true;
    open();
  });
}
