// Scans a label: by the browser's own detector where there is one, else the server reads a frame. A photo does it too.
import { jpeg, scaled } from "../core/image.js";
import { soon } from "../core/fetch-timeout.js";
import { t } from "../core/words.js";

const BETWEEN_MS = 300;
const FRAME_PX = 1024;
const WHY = {
  NotAllowedError: t("The camera is not allowed here. Allow it in the browser's settings for this page, take a photo, or type the code."),
  NotFoundError: t("No camera was found. Take a photo, or type the code."),
  insecure: t("The browser gives the camera to a secure page only. Take a photo of the label, or type the code."),
  missing: t("This browser gives no camera to a page. Take a photo of the label, or type the code."),
  other: t("The camera does not start: another app may have it. Take a photo of the label, or type the code."),
};
const by = (id) => document.getElementById(id);
const [view, start, stop, photo, says] = ["scan-view", "scan-start", "scan-stop", "scan-photo", "scan-says"].map(by);
let stream = null;

function tell(text) {
  if (says.textContent !== text) says.textContent = text;
  says.hidden = !text;
}

/** Ask the server where it leads, and go there: only ever to a page of ours. */
async function ask(name, value) {
  const form = new FormData();
  form.append(name, value);
  const answer = await soon("/scan", { method: "POST", body: form });
  if (!answer.ok) throw new Error(`the server answered ${answer.status}`);
  const { to, says: why } = await answer.json();
  if (to?.startsWith("/batches/")) {
    halt();
    location.assign(to);
  }
  return { gone: Boolean(to), why };
}

async function detector() {
  const formats = (await globalThis.BarcodeDetector?.getSupportedFormats().catch(() => [])) ?? [];
  return formats.includes("qr_code") ? new BarcodeDetector({ formats: ["qr_code"] }) : null;
}

async function look(own) {
  if (!own) return ask("picture", await jpeg(view, view.videoWidth, view.videoHeight, FRAME_PX));
  const [found] = await own.detect(view);
  return found ? ask("text", found.rawValue) : {};
}

function halt() {
  for (const track of stream?.getTracks() ?? []) track.stop();
  stream = view.srcObject = null;
  view.hidden = stop.hidden = true;
  start.hidden = !navigator.mediaDevices?.getUserMedia;
}

async function run() {
  if (stream) return;
  if (!navigator.mediaDevices?.getUserMedia) return tell(isSecureContext ? WHY.missing : WHY.insecure);
  start.hidden = true;
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", width: { ideal: 1280 } } });
    if (document.hidden) return halt();
    view.srcObject = stream;
    view.hidden = stop.hidden = false;
    tell(t("Hold the QR of the label before the camera."));
    await view.play();
  } catch (error) {
    if (stream || error.name !== "AbortError") tell(WHY[error.name] ?? WHY.other);
    halt();
    start.hidden ||= error.name === "NotFoundError"; // nothing that could be started
    return;
  }
  const mine = stream;
  const own = await detector();
  while (stream === mine) {
    try {
      const { gone, why } = await look(own);
      if (gone) return;
      if (why) tell(why);
    } catch {
      if (stream === mine) tell(t("The server does not answer. It is tried again; nothing is lost."));
    }
    await new Promise((resolve) => { setTimeout(resolve, BETWEEN_MS); });
  }
}

photo.addEventListener("change", async () => {
  const [file] = photo.files;
  if (!file) return;
  tell(t("The photo is being read."));
  const picture = await scaled(file).catch(() => null);
  photo.value = ""; // the same one may be chosen again
  if (!picture) return tell(t("This browser cannot read that picture. Take it once more, or type the code."));
  try {
    const { gone, why } = await ask("picture", picture);
    if (!gone) tell(why ?? t("No QR was found in that photo. Go closer, hold it still, or type the code."));
  } catch {
    tell(t("The server does not answer. Try again, or type the code."));
  }
});
start.addEventListener("click", run);
stop.addEventListener("click", () => { halt(); tell(""); });
document.addEventListener("visibilitychange", () => document.hidden && halt());
addEventListener("pagehide", halt);
run();
