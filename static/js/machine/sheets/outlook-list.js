// In the log sheet: the full outlook, its basis, and all current advice, even if dismissed on the page.
import { byId, setText } from "../../core/dom.js";
import { clockText } from "../../core/duration.js";
import { degrees, rate, temp } from "../../core/units.js";
import { t } from "../../core/words.js";
import { bandText, expectedMoments } from "../outlook/outlook.js";

/**
 * @param {number | null | undefined} low
 * @param {number | null | undefined} high
 * @param {(value: number) => string} write
 */
const rangeText = (low, high, write) =>
  typeof low === "number" && typeof high === "number" ? ` (${write(low)}–${write(high)})` : "";

/**
 * “First crack about 8:42 (8:28–8:53), at 196.1 °C (194.8–197.5), rising 8.2 (7.0–9.1) degrees a minute”.
 * @param {ExpectedMoment} due
 */
function line(due) {
  const { label: moment, temp_c: tempC, rate_c_per_min: rateC } = due;
  const band = bandText(due);
  const time = `${clockText(due.time_s)}${band && ` (${band})`}`;
  const isPlan = due.basis === "plan";
  const parts = [
    isPlan ? t("{moment} planned for {time}", { moment, time }) : t("{moment} about {time}", { moment, time }),
  ];
  if (typeof tempC === "number") {
    parts.push(t("at {temp}", { temp: temp(tempC) + rangeText(due.temp_low_c, due.temp_high_c, degrees) }));
  }
  if (typeof rateC === "number") {
    const range = rangeText(due.rate_low_c_per_min, due.rate_high_c_per_min, rate);
    parts.push(t("rising {rate} °/min", { rate: rate(rateC) + range }));
  }
  return parts.join(", ");
}

/**
 * Set one item per line; equal items keep their elements.
 * @param {HTMLElement} element
 * @param {string[]} lines
 */
function showList(element, lines) {
  while (element.children.length > lines.length) element.lastElementChild?.remove();
  lines.forEach((text, index) => {
    setText(element.children[index] ?? element.appendChild(document.createElement("li")), text);
  });
}

/**
 * @param {object} parts
 * @param {import("./sheets.js").Sheets} parts.sheets
 * @param {import("../state/state.js").State} parts.state
 * @param {import("../outlook/advice.js").Advice} parts.advice
 */
export function bindOutlookList({ sheets, state, advice }) {
  const sheet = sheets.element("log");
  const draw = () => {
    const due = expectedMoments(state);
    const all = advice.all;
    const isRoasting = state.phase === "roasting";
    byId("outlook").hidden = !due.length && !all.length && !isRoasting;
    const none = due.length ? "" : t("No forecast yet.");
    setText(byId("outlook-basis"), (isRoasting && state.outlook?.says) || none);
    showList(byId("outlook-ahead"), due.map(line));
    byId("outlook-advice").hidden = !all.length;
    byId("outlook-rule").hidden = !all.some(({ aboutRate }) => aboutRate);
    showList(
      byId("outlook-list"),
      all.map(({ word, text }) => `${word}: ${text}`),
    );
  };
  const refresh = () => sheet.open && draw();
  sheets.onOpen("log", draw);
  state.addEventListener("outlook", refresh);
  state.addEventListener("change", refresh);
}
