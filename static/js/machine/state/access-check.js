// Checks whether this device still has access: a page cannot tell a refused stream from a broken one.
import { fetchWithTimeout } from "../../core/fetch-timeout.js";

const EVERY_MS = 3000;
const NO_ACCESS = 401;

/** @param {import("./state.js").State} state */
export function bindAccessCheck(state) {
  const check = async () => {
    if (document.hidden || state.connected || !state.hasAccess) return;
    const answer = await fetchWithTimeout("/api/clock", { cache: "no-store" }).catch(() => null);
    if (answer?.status === NO_ACCESS) state.loseAccess();
  };
  state.addEventListener("update", check);
  setInterval(check, EVERY_MS);
}
