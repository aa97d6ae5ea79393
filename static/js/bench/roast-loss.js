// The loss as it is typed, and where it stands in what is usual. The server judges again when the form is sent.
import { typedNumber } from "../core/number-input.js";
import { decimal, t } from "../core/words.js";
const form = document.getElementById("weigh");
const field = document.getElementById("roasted");
const shown = document.getElementById("loss");
const mark = document.getElementById("mark");
const verdict = document.getElementById("verdict");
const given = Object.fromEntries(Object.entries(form.dataset).map(([name, value]) => [name, Number.parseFloat(value)]));

const percent = (share) => decimal(`${(100 * share).toFixed(1)} %`);

function loss() {
  const roasted = typedNumber(field.value) * given.unitG;
  if (!(roasted > 0) || !(given.greenG > 0)) return null;
  return 1 - roasted / given.greenG;
}

function words(share) {
  if (share < 0) return t("More than the green that went in: check the scale and the container.");
  if (!(given.high > given.low)) return "";
  if (share < given.low) return t("{share} is less than usual for this coffee. Check both weights before you keep it.", { share: percent(share) });
  if (share > given.high) return t("{share} is more than usual for this coffee. Check both weights before you keep it.", { share: percent(share) });
  return "";
}

function show() {
  const share = loss();
  if (shown) shown.textContent = t("{loss} loss", { loss: share === null || share < 0 ? "–" : percent(share) });
  if (mark) {
    mark.hidden = share === null;
    const place = (share - given.start) / (given.end - given.start);
    mark.style.left = `${100 * Math.min(1, Math.max(0, place))}%`;
  }
  if (verdict) {
    verdict.textContent = share === null ? "" : words(share);
    verdict.hidden = !verdict.textContent;
  }
}

field.addEventListener("input", () => {
  // What was wrong with the weight that was sent is not said of the one that is typed now.
  field.removeAttribute("aria-invalid");
  document.querySelector("#roasted-says .error")?.remove();
  show();
});
if (field.value) show();
