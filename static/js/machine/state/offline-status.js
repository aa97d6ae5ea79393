// The live page and its being kept: what the bench will need next is kept with it, and the log sheet says how it stands.
import { keep } from "../../offline/worker-registration.js";
import { say } from "../screen/numbers.js";
import { t } from "../../core/words.js";

const $ = (id) => document.getElementById(id);
const KEPT = t("This page opens on this device without a network too. What is tapped then waits here, and is sent by itself.");
const NOT_KEPT = t("Taps wait on this device while the server is out of reach; but this page itself, once it is closed, does not open without it:");
const WHY = window.isSecureContext ? t("this browser keeps no pages.") : t("that needs a secure address (https), and this one is not.");

export function bindOffline({ state }) {
  let keptFor = null;
  const machine = `/machines/${encodeURIComponent(state.view.machine.id)}`;
  const byHand = state.view.channels.some((channel) => channel.by_hand) ? [`${machine}/hand`] : [];
  if (state.connected) keep(["/", "/scan", `${machine}/start`, ...byHand]);
  state.addEventListener("change", () => {
    const { told } = state;
    if (!told || !state.connected || told.code === keptFor) return;
    keptFor = told.code;
    keep([`/batches/${encodeURIComponent(keptFor)}/weigh`]);
  });
  say($("kept-line"), `${NOT_KEPT} ${WHY}`);
  navigator.serviceWorker?.ready.then(() => say($("kept-line"), KEPT)); // where there is one, and it could start
  // Never under a finger: only whoever asks for it gets the newer page now.
  document.addEventListener("newer", () => ($("newer").hidden = false));
  $("newer-load").addEventListener("click", () => location.reload());
}
