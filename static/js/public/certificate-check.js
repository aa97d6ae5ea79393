// Sees whether this device trusts the certificate by now, and then leads on. What lets the device in stands after the #
// of this page's address: a browser never sends that over the wire, and it goes on to the secure page alone.
const EVERY_MS = 3000;
const PATIENCE_MS = 2500;
const main = document.getElementById("main");
const bases = main.dataset.secure.split(" ");
const secret = /^#([\w-]{20,80})$/.exec(location.hash)?.[1];

const way = (base) => `${base}/pair${secret ? `/${secret}` : ""}`;

/** Whether an address answers: it does only where its certificate is trusted. What it says cannot be read from here. */
async function answers(base) {
  try {
    await fetch(`${base}/this-device/reached`, { mode: "no-cors", cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS) });
    return true;
  } catch {
    return false;
  }
}

function lead(base) {
  for (const link of document.querySelectorAll("[data-go]")) link.href = way(base);
}

async function look() {
  const answered = await Promise.all(bases.map(answers));
  const best = answered.indexOf(true);
  if (best < 0) return false;
  lead(bases[best]);
  for (const part of document.querySelectorAll("[data-untrusted]")) part.hidden = true;
  document.querySelector("[data-trusted]").hidden = false;
  return true;
}

async function watch() {
  if (!document.hidden && (await look())) return;
  setTimeout(watch, EVERY_MS);
}

lead(bases[0]);
watch();
