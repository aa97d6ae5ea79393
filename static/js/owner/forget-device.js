// Forgets this device: the server ends its access, then all that the browser keeps of Drumside is deleted. Where
// something waits for the server, it is said how much, and only a second button deletes that too.
import { byId, find } from "../core/dom.js";
import { fetchWithTimeout } from "../core/fetch-timeout.js";
import { load, TYPED_READINGS } from "../core/storage.js";
import { t, tn } from "../core/words.js";
import { IdbQueue } from "../offline/idb-queue.js";
import { PLACE as ENTRIES } from "../offline/outbox.js";
import { PLACE as PHOTOS } from "../offline/photo-outbox.js";
import { readWritten } from "../offline/write-ahead.js";

const form = byId("forget", HTMLFormElement);
const button = find(form, "button", HTMLButtonElement);
const said = byId("forget-said");
let isAsked = false;

/** How many entries, photos and typed readings this device holds that the server does not have. */
async function unsent() {
  const [entries, photos] = await Promise.all([ENTRIES, PHOTOS].map((place) => new IdbQueue(place).all()));
  const ids = new Set([...entries, ...photos, ...readWritten()].map(({ id }) => id));
  return ids.size + (load(TYPED_READINGS)?.length ?? 0);
}

/** @param {string | undefined} name */
function deleteDatabase(name) {
  return new Promise((resolve) => {
    const request = indexedDB.deleteDatabase(name ?? "");
    request.onsuccess = request.onerror = request.onblocked = resolve; // a blocked one goes when other pages let go
  });
}

/** The choices that pages keep in cookies: language, person, label. The server deletes that of the access. */
function deleteCookies() {
  for (const cookie of document.cookie.split("; ").filter(Boolean)) {
    document.cookie = `${cookie.split("=")[0]}=; path=/; max-age=0`;
  }
}

async function deleteKept() {
  deleteCookies();
  localStorage.clear();
  sessionStorage.clear();
  const databases = (await indexedDB.databases?.()) ?? [ENTRIES, PHOTOS]; // some older browsers do not list them
  await Promise.all(databases.map(({ name }) => deleteDatabase(name)));
  if ("caches" in window) await Promise.all((await caches.keys()).map((name) => caches.delete(name)));
  const workers = (await navigator.serviceWorker?.getRegistrations()) ?? [];
  await Promise.all(workers.map((worker) => worker.unregister()));
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const count = await unsent().catch(() => 0);
  if (count && !isAsked) {
    isAsked = true;
    said.textContent = tn(
      "1 entry on this device is not on the server and would be lost.",
      "{n} entries on this device are not on the server and would be lost.",
      count,
    );
    button.textContent = t("Forget this device anyway");
    return;
  }
  button.disabled = true;
  const answer = await fetchWithTimeout(form.action, { method: "POST" }).catch(() => null);
  if (!answer || answer.status >= 500) {
    said.textContent = t("Offline: this device stays paired, and nothing was deleted. Try again.");
    button.disabled = false;
    return;
  }
  await deleteKept().catch((error) => console.warn("Not all was deleted:", error));
  location.replace("/pair");
});
