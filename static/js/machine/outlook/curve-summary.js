// The curve in words, for whoever does not see it.
import { stopwatch } from "../../core/clock.js";
import { band, coming } from "./outlook.js";
import { rate, temp } from "../../core/units.js";
import { t } from "../../core/words.js";

const expected = (due) => {
  const span = band(due);
  const [moment, time] = [due.label, `${stopwatch(due.time_s)}${span && ` (${span})`}`];
  return due.basis === "plan" ? t("{moment} planned at {time}", { moment, time }) : t("{moment} expected at about {time}", { moment, time });
};

export function summary(state, { temp: nowC, channelShort, rateC, rateOf }) {
  const now = nowC === null ? [] : [t("{what} at {time}", { what: channelShort, time: temp(nowC) })];
  if (rateC !== null) now.push(t("{channel} rate {rate} degrees a minute", { channel: rateOf, rate: rate(rateC) }));
  const moments = (state.told?.moments ?? []).map(({ label, time_s: timeS, temp_c: tempC }) => {
    const said = timeS === null ? label : t("{what} at {time}", { what: label, time: stopwatch(timeS) });
    return tempC === null ? said : `${said}, ${temp(tempC)}`;
  });
  return `${t("Temperatures, rates and controls.")} ${[...moments, ...now, state.phaseWord, ...coming(state).map(expected)].join("; ")}.`;
}
