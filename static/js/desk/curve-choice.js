// Chooses which curve a record draws: smoothed, live, or both. The choice is stored on this device.
import { byId, findAll } from "../core/dom.js";
import { loadText, storeText } from "../core/storage.js";

const KEY = "drumside-curve";
/** @type {Record<string, string[]>} */
const SHOWN = { smooth: ["smooth", "alone"], live: ["live"], both: ["smooth", "both"] };

const stored = () => {
  const choice = loadText(KEY) ?? "";
  return Object.hasOwn(SHOWN, choice) ? choice : "smooth";
};

/**
 * Let the page's buttons choose among the lines whose names begin with “smooth ”, “live ” or “both ”.
 * @param {import("../core/figure/figure.js").Figure} figure
 * @param {() => void} onChoice
 */
export function bindCurveChoice(figure, onChoice) {
  const buttons = findAll(document, "[data-curve]");
  if (!buttons.length) return; // an unfinished batch has only its live curve
  const lines = [...figure.document.all_models].filter((model) => /^(smooth|alone|live|both) /.test(model.name ?? ""));
  const show = (/** @type {string} */ choice) => {
    for (const line of lines) line.visible = SHOWN[choice].includes(line.name.split(" ", 1)[0]);
    for (const button of buttons) {
      const isChosen = button.dataset.curve === choice;
      button.setAttribute("aria-pressed", String(isChosen));
      if (isChosen) byId("curve-says").textContent = button.dataset.says ?? "";
    }
  };
  for (const button of buttons) {
    button.addEventListener("click", () => {
      const choice = button.dataset.curve ?? "smooth";
      show(choice);
      storeText(KEY, choice);
      onChoice();
    });
  }
  show(stored());
}
