// Shows the loss while the weight is typed, and its place in the usual band. The server checks it again when the form
// is sent.
import { byId } from "../core/dom.js";
import { parseNumber } from "../core/number-input.js";
import { decimal, t } from "../core/words.js";

const form = byId("weigh");
const field = byId("roasted", HTMLInputElement);
const shown = document.getElementById("loss");
const mark = document.getElementById("mark");
const verdict = document.getElementById("verdict");
const given = Object.fromEntries(
  Object.entries(form.dataset).map(([name, value]) => [name, Number.parseFloat(value ?? "")]),
);

const percent = (/** @type {number} */ share) => decimal(`${(100 * share).toFixed(1)} %`);

function lossShare() {
  const roastedG = parseNumber(field.value) * given.unitG;
  if (!(roastedG > 0) || !(given.greenG > 0)) return null;
  return 1 - roastedG / given.greenG;
}

/** @param {number} share */
function verdictOn(share) {
  if (share < 0) return t("More than the green weight: check the scale and the container.");
  if (!(given.high > given.low)) return "";
  if (share < given.low) {
    return t("{share} is less than usual for this coffee. Check both weights before saving.", {
      share: percent(share),
    });
  }
  if (share > given.high) {
    return t("{share} is more than usual for this coffee. Check both weights before saving.", {
      share: percent(share),
    });
  }
  return "";
}

function show() {
  const share = lossShare();
  if (shown) shown.textContent = t("{loss} loss", { loss: share === null || share < 0 ? "–" : percent(share) });
  if (mark) {
    mark.hidden = share === null;
    const place = ((share ?? 0) - given.start) / (given.end - given.start);
    mark.style.left = `${100 * Math.min(1, Math.max(0, place))}%`;
  }
  if (verdict) {
    verdict.textContent = share === null ? "" : verdictOn(share);
    verdict.hidden = !verdict.textContent;
  }
}

field.addEventListener("input", () => {
  // A validation error refers to the weight that was sent, not to the one being typed.
  field.removeAttribute("aria-invalid");
  document.querySelector("#roasted-says .error")?.remove();
  show();
});
if (field.value) show();
