// Scans a label: by the browser's own detector if it has one, else the server reads a frame. A photo works too.
import { byId } from "../core/dom.js";
import { fetchWithTimeout } from "../core/fetch-timeout.js";
import { scaledJpeg, toJpeg } from "../core/photo.js";
import { t } from "../core/words.js";

const BETWEEN_MS = 300;
const FRAME_PX = 1024;
/** @type {Record<string, string>} */
const WHY = {
  NotAllowedError: t(
    "The camera is not allowed here. Allow it in the browser's settings for this page, take a photo, or type the code.",
  ),
  NotFoundError: t("No camera found. Take a photo, or type the code."),
  insecure: t("The camera needs a secure page. Take a photo of the label, or type the code."),
  missing: t("This browser has no camera for pages. Take a photo of the label, or type the code."),
  other: t("The camera does not start: another app may have it. Take a photo of the label, or type the code."),
};
const view = byId("scan-view", HTMLVideoElement);
const start = byId("scan-start");
const stop = byId("scan-stop");
const photo = byId("scan-photo", HTMLInputElement);
const note = byId("scan-says");
/** @type {MediaStream | null} */
let stream = null;

const hasCamera = () => "getUserMedia" in (navigator.mediaDevices ?? {});

/** @param {string} text */
function tell(text) {
  if (note.textContent !== text) note.textContent = text;
  note.hidden = !text;
}

/**
 * Ask the server for the target page and open it; it is always one of our own pages.
 * @param {"text" | "picture"} name
 * @param {string | Blob} value
 * @returns {Promise<{ isFound?: boolean, why?: string }>}
 */
async function ask(name, value) {
  const form = new FormData();
  form.append(name, value);
  const answer = await fetchWithTimeout("/scan", { method: "POST", body: form });
  if (!answer.ok) throw new Error(`the server answered ${answer.status}`);
  const { to, says: why } = await answer.json();
  if (to?.startsWith("/batches/") || to?.startsWith("/lots/")) {
    halt();
    location.assign(to);
  }
  return { isFound: Boolean(to), why };
}

async function makeDetector() {
  if (!("BarcodeDetector" in globalThis)) return null;
  /** @type {string[]} */
  const formats = await BarcodeDetector.getSupportedFormats().catch(() => []);
  return formats.includes("qr_code") ? new BarcodeDetector({ formats: ["qr_code"] }) : null;
}

/** @param {BarcodeDetector | null} detector */
async function look(detector) {
  if (!detector) return ask("picture", await toJpeg(view, view.videoWidth, view.videoHeight, FRAME_PX));
  const [found] = await detector.detect(view);
  return found ? ask("text", found.rawValue) : {};
}

function halt() {
  for (const track of stream?.getTracks() ?? []) track.stop();
  stream = view.srcObject = null;
  view.hidden = stop.hidden = true;
  start.hidden = !hasCamera();
}

async function run() {
  if (stream) return;
  if (!hasCamera()) {
    tell(isSecureContext ? WHY.missing : WHY.insecure);
    return;
  }
  start.hidden = true;
  try {
    stream = await navigator.mediaDevices.getUserMedia({
      video: { facingMode: "environment", width: { ideal: 1280 } },
    });
    if (document.hidden) {
      halt();
      return;
    }
    view.srcObject = stream;
    view.hidden = stop.hidden = false;
    tell(t("Point the camera at the QR code of the label."));
    await view.play();
  } catch (error) {
    const { name } = /** @type {Error} */ (error);
    if (stream || name !== "AbortError") tell(WHY[name] ?? WHY.other);
    halt();
    start.hidden ||= name === "NotFoundError"; // there is no camera to start
    return;
  }
  const mine = stream;
  const detector = await makeDetector();
  while (stream === mine) {
    try {
      const { isFound, why } = await look(detector);
      if (isFound) return;
      if (why) tell(why);
    } catch {
      if (stream === mine) tell(t("No answer from the server. Reconnecting…"));
    }
    await new Promise((resolve) => {
      setTimeout(resolve, BETWEEN_MS);
    });
  }
}

photo.addEventListener("change", async () => {
  const file = photo.files?.[0];
  if (!file) return;
  tell(t("Reading the photo…"));
  const picture = await scaledJpeg(file).catch(() => null);
  photo.value = ""; // so that the same file can be chosen again
  if (!picture) {
    tell(t("This browser cannot read the picture. Take it again, or type the code."));
    return;
  }
  try {
    const { isFound, why } = await ask("picture", picture);
    if (!isFound) tell(why ?? t("No QR code found in the photo. Go closer, hold still, or type the code."));
  } catch {
    tell(t("No answer from the server. Try again, or type the code."));
  }
});
start.addEventListener("click", run);
stop.addEventListener("click", () => {
  halt();
  tell("");
});
document.addEventListener("visibilitychange", () => document.hidden && halt());
addEventListener("pagehide", halt);
run();
