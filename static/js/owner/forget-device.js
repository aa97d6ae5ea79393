// Deletes what this browser stores of Drumside before the server ends its access: over plain HTTP no server can. Taps
// that wait are lost with it, so their number is shown first.
import { byId, find } from "../core/dom.js";
import { t } from "../core/words.js";
import { Outbox } from "../offline/outbox.js";

const DATABASES = ["drumside", "drumside-photos", "drumside-views"];
const form = byId("forget", HTMLFormElement);
const said = byId("forget-waiting");

async function clear() {
  localStorage.clear();
  for (const name of DATABASES) indexedDB.deleteDatabase(name);
  if (globalThis.caches) await Promise.all((await caches.keys()).map((name) => caches.delete(name)));
  const workers = (await navigator.serviceWorker?.getRegistrations()) ?? [];
  await Promise.all(workers.map((worker) => worker.unregister()));
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const waiting = await new Outbox().waitingCount();
  if (waiting && said.hidden) {
    said.textContent = t(
      "{n} taps on this device are not on the server yet and would be lost. Press again to forget them.",
      {
        n: waiting,
      },
    );
    said.hidden = false;
    find(form, "button").focus();
    return;
  }
  await clear().catch(console.warn);
  form.submit();
});
