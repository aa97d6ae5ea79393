// Whether this device is let in still. To a page a stream that is refused looks like one that broke off: so it is asked.
import { soon } from "../../core/fetch-timeout.js";

const EVERY_MS = 3000;
const NOT_LET_IN = 401;

export function bindDoor(state) {
  const ask = async () => {
    if (document.hidden || state.connected || !state.letIn) return;
    const answer = await soon("/api/clock", { cache: "no-store" }).catch(() => null);
    if (answer?.status === NOT_LET_IN) state.shutOut();
  };
  state.addEventListener("seen", ask);
  setInterval(ask, EVERY_MS);
}
