// Checks whether this device trusts the certificate yet, and then continues. The pairing secret follows the # of this
// page's URL: a browser never sends that part, and only the secure page receives it.
import { byId, find, findAll } from "../core/dom.js";

const EVERY_MS = 3000;
const TIMEOUT_MS = 2500;
const bases = (byId("main").dataset.secure ?? "").split(" ");
const secret = /^#([\w-]{20,80})$/.exec(location.hash)?.[1];

/**
 * Whether an address answers, which it does only if its certificate is trusted. The answer itself cannot be read from
 * here.
 * @param {string} base
 */
async function answers(base) {
  const options = /** @type {const} */ ({ mode: "no-cors", cache: "no-store" });
  try {
    await fetch(`${base}/this-device/reached`, { ...options, signal: AbortSignal.timeout(TIMEOUT_MS) });
    return true;
  } catch {
    return false;
  }
}

/** @param {string} base */
function setLinks(base) {
  for (const link of findAll(document, "[data-go]", HTMLAnchorElement)) {
    link.href = `${base}/pair${secret ? `/${secret}` : ""}`;
  }
}

async function check() {
  const answered = await Promise.all(bases.map(answers));
  const best = answered.indexOf(true);
  if (best < 0) return false;
  setLinks(bases[best]);
  for (const part of findAll(document, "[data-untrusted]")) part.hidden = true;
  find(document, "[data-trusted]").hidden = false;
  return true;
}

async function watch() {
  if (!document.hidden && (await check())) return;
  setTimeout(watch, EVERY_MS);
}

setLinks(bases[0]);
watch();
