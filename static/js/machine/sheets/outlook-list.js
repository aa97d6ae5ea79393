// In the log sheet: what is to come in full, what that rests on, and all advice that holds, hidden on the page or not.
import { stopwatch } from "../../core/clock.js";
import { say } from "../screen/numbers.js";
import { band, coming } from "../outlook/outlook.js";
import { degrees, rate, temp } from "../../core/units.js";
import { t } from "../../core/words.js";

const $ = (id) => document.getElementById(id);
const span = (low, high, write) => (Number.isFinite(low) && Number.isFinite(high) ? ` (${write(low)}–${write(high)})` : "");

/** “First crack about 8:42 (8:28–8:53), at 196.1 °C (194.8–197.5), rising 8.2 (7.0–9.1) degrees a minute”. */
function line(due) {
  const times = band(due);
  const time = `${stopwatch(due.time_s)}${times && ` (${times})`}`;
  const when = due.basis === "plan" ? t("{moment} planned for {time}", { moment: due.label, time }) : t("{moment} about {time}", { moment: due.label, time });
  const { temp_c: tempC, rate_c_per_min: rateC } = due;
  const at = Number.isFinite(tempC) && t("at {temp}", { temp: temp(tempC) + span(due.temp_low_c, due.temp_high_c, degrees) });
  const rising = Number.isFinite(rateC) && t("rising {rate} °/min", { rate: rate(rateC) + span(due.rate_low_c_per_min, due.rate_high_c_per_min, rate) });
  return [when, at, rising].filter(Boolean).join(", ");
}

/** One item a line; the same items stay the same elements. */
function list(element, lines) {
  while (element.children.length > lines.length) element.lastChild.remove();
  lines.forEach((words, index) => say(element.children[index] ?? element.appendChild(document.createElement("li")), words));
}

export function bindForeseen({ sheets, state, advice }) {
  const sheet = sheets.element("log");
  const draw = () => {
    const due = coming(state);
    const all = advice.all;
    $("foreseen").hidden = !due.length && !all.length && state.phase !== "roasting";
    say($("foreseen-says"), (state.phase === "roasting" && state.outlook?.says) || (due.length ? "" : t("Nothing can be foretold yet.")));
    list($("foreseen-ahead"), due.map(line));
    $("foreseen-advice").hidden = !all.length;
    $("foreseen-rule").hidden = !all.some(({ aboutRate }) => aboutRate);
    list($("foreseen-list"), all.map(({ word, text }) => `${word}: ${text}`));
  };
  const refresh = () => sheet.open && draw();
  sheets.on("log", draw);
  state.addEventListener("outlook", refresh);
  state.addEventListener("change", refresh);
}
