// Checks the features of this device. Each question returns the name of the matching sentence; the sentences are in the
// page (templates/owner/this_device/page.html). Buttons request permissions that the browser gives only on a click.
import { closest, find, findAll } from "../core/dom.js";
import { registered } from "../offline/worker-registration.js";

const READY_MS = 4000;
const secureOr = (/** @type {string} */ state) => (window.isSecureContext ? state : "insecure");

/** @typedef {() => string | Promise<string>} Question */

/** @type {Record<string, Question>} */
const QUESTIONS = {
  secure: () => (window.isSecureContext ? "yes" : "no"),

  async worker() {
    if (!("serviceWorker" in navigator)) return secureOr("missing");
    if (!(await registered)) return "refused";
    /** @type {Promise<null>} */
    const late = new Promise((resolve) => {
      setTimeout(resolve, READY_MS, null);
    });
    const ready = await Promise.race([navigator.serviceWorker.ready, late]);
    return ready?.active ? "yes" : "ready";
  },

  async wake() {
    if (!("wakeLock" in navigator)) return secureOr("missing");
    try {
      await (await navigator.wakeLock.request("screen")).release();
      return "yes";
    } catch {
      return "refused";
    }
  },

  box: () =>
    new Promise((resolve) => {
      const NAME = "drumside-try";
      try {
        const request = indexedDB.open(NAME);
        request.onerror = () => resolve("missing");
        request.onsuccess = () => {
          request.result.close();
          indexedDB.deleteDatabase(NAME);
          resolve("yes");
        };
      } catch {
        resolve("missing");
      }
    }),

  async kept() {
    if (!("persisted" in (navigator.storage ?? {}))) return secureOr("missing");
    return (await navigator.storage.persisted()) ? "yes" : "ready";
  },

  sound: () => ("AudioContext" in window ? "ask" : "missing"),
  vibration: () => ("vibrate" in navigator ? "ask" : "missing"),

  async camera() {
    if (!("getUserMedia" in (navigator.mediaDevices ?? {}))) return secureOr("missing");
    const found = await navigator.mediaDevices.enumerateDevices();
    if (!found.some((device) => device.kind === "videoinput")) return "none";
    // Not every browser supports this query for the camera.
    const query = /** @type {any} */ ({ name: "camera" });
    const asked = await navigator.permissions?.query(query).catch(() => null);
    /** @type {Record<string, string>} */
    const answers = { granted: "yes", denied: "refused" };
    return answers[asked?.state ?? ""] ?? "ask";
  },
};

/** @type {Record<string, Question>} */
const TRIALS = {
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

/**
 * @param {string} name
 * @param {Question} question
 * @param {string} otherwise
 */
async function show(name, question, otherwise) {
  const state = await Promise.resolve()
    .then(question)
    .catch(() => otherwise);
  for (const part of findAll(document, `[data-check="${name}"] [data-said]`)) {
    part.hidden = part.dataset.said !== state;
  }
}

for (const [name, question] of Object.entries(QUESTIONS)) show(name, question, "missing");
find(document, "[data-checks]").addEventListener("click", (event) => {
  const name = closest(event, "[data-try]")?.dataset.try;
  if (name) show(name, TRIALS[name], "refused");
});
