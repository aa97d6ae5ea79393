// What this device can do here. Each question answers with the name of the sentence that holds; the sentences stand in
// the page (templates/this_device/page.html). A button asks for what the browser gives only to a finger.
import { started } from "../offline/worker-registration.js";

const SOON_MS = 4000;
const secureOr = (state) => (window.isSecureContext ? state : "insecure");

const ASKS = {
  secure: () => (window.isSecureContext ? "yes" : "no"),

  async worker() {
    if (!navigator.serviceWorker) return secureOr("missing");
    if (!(await started)) return "refused";
    const late = new Promise((resolve) => { setTimeout(resolve, SOON_MS, null); });
    const ready = await Promise.race([navigator.serviceWorker.ready, late]);
    return ready?.active ? "yes" : "ready";
  },

  async wake() {
    if (!navigator.wakeLock) return secureOr("missing");
    try {
      await (await navigator.wakeLock.request("screen")).release();
      return "yes";
    } catch {
      return "refused";
    }
  },

  box: () => new Promise((resolve) => {
    const NAME = "drumside-try";
    try {
      const asked = indexedDB.open(NAME);
      asked.onerror = () => resolve("missing");
      asked.onsuccess = () => {
        asked.result.close();
        indexedDB.deleteDatabase(NAME);
        resolve("yes");
      };
    } catch {
      resolve("missing");
    }
  }),

  async kept() {
    if (!navigator.storage?.persisted) return secureOr("missing");
    return (await navigator.storage.persisted()) ? "yes" : "ready";
  },

  sound: () => (window.AudioContext ? "ask" : "missing"),
  vibration: () => (navigator.vibrate ? "ask" : "missing"),

  async camera() {
    if (!navigator.mediaDevices?.getUserMedia) return secureOr("missing");
    const found = await navigator.mediaDevices.enumerateDevices();
    if (!found.some((device) => device.kind === "videoinput")) return "none";
    // Not every browser knows this question about the camera.
    const asked = await navigator.permissions?.query({ name: "camera" }).catch(() => null);
    return { granted: "yes", denied: "refused" }[asked?.state] ?? "ask";
  },
};

const TRIES = {
  kept: async () => ((await navigator.storage.persist()) ? "yes" : "refused"),

  async sound() {
    const context = new AudioContext();
    await context.resume();
    const tone = new OscillatorNode(context, { frequency: 880 });
    tone.connect(new GainNode(context, { gain: 0.3 })).connect(context.destination);
    tone.onended = () => context.close();
    tone.start();
    tone.stop(context.currentTime + 0.5);
    return "yes";
  },

  vibration: () => (navigator.vibrate([150, 80, 150]) ? "yes" : "refused"),

  async camera() {
    const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    for (const track of stream.getTracks()) track.stop();
    return "yes";
  },
};

async function show(name, question, otherwise) {
  const state = await Promise.resolve().then(question).catch(() => otherwise);
  for (const part of document.querySelectorAll(`[data-check="${name}"] [data-said]`)) {
    part.hidden = part.dataset.said !== state;
  }
}

for (const [name, question] of Object.entries(ASKS)) show(name, question, "missing");
document.querySelector("[data-checks]").addEventListener("click", (event) => {
  const name = event.target.closest("[data-try]")?.dataset.try;
  if (name) show(name, TRIES[name], "refused");
});
