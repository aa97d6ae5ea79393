// Shows the loss while the weight is typed into a weigh-out form, and its place in the usual band. The server checks it
// again when it gets the weight.
import { find } from "./dom.js";
import { parseNumber } from "./number-input.js";
import { decimal, t } from "./words.js";

const percent = (/** @type {number} */ share) => decimal(`${(100 * share).toFixed(1)} %`);

/**
 * The question that a loss raises; empty if it is as usual.
 * @param {number} share
 * @param {Record<string, number>} given
 */
function verdictOn(share, given) {
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

/** @param {HTMLFormElement} form templates/bench/weigh.html */
export function bindRoastLoss(form) {
  const field = find(form, "#roasted", HTMLInputElement);
  const shown = form.querySelector("#loss");
  const mark = /** @type {HTMLElement | null} */ (form.querySelector("#mark"));
  const verdict = /** @type {HTMLElement | null} */ (form.querySelector("#verdict"));
  const given = Object.fromEntries(
    Object.entries(form.dataset).map(([name, value]) => [name, Number.parseFloat(value ?? "")]),
  );

  const lossShare = () => {
    const roastedG = parseNumber(field.value) * given.unitG;
    return roastedG > 0 && given.greenG > 0 ? 1 - roastedG / given.greenG : null;
  };
  const show = () => {
    const share = lossShare();
    if (shown) shown.textContent = t("{loss} loss", { loss: share === null || share < 0 ? "–" : percent(share) });
    if (mark) {
      mark.hidden = share === null;
      const place = ((share ?? 0) - given.start) / (given.end - given.start);
      mark.style.left = `${100 * Math.min(1, Math.max(0, place))}%`;
    }
    if (verdict) {
      verdict.textContent = share === null ? "" : verdictOn(share, given);
      verdict.hidden = !verdict.textContent;
    }
  };

  field.addEventListener("input", () => {
    // A validation error refers to the weight that was sent, not to the one being typed.
    field.removeAttribute("aria-invalid");
    form.querySelector("#roasted-says .error")?.remove();
    show();
  });
  if (field.value) show();
}
