// The curve in words, for whoever does not see it.
import { stopwatch } from "./clock.js";
import { band, coming } from "./outlook.js";
import { rate, temp } from "./units.js";

const expected = (due) => {
  const span = band(due);
  const time = due.basis === "plan" ? ` planned at ${stopwatch(due.time_s)}` : ` expected at about ${stopwatch(due.time_s)}`;
  return `${due.label}${time}${span && ` (${span})`}`;
};

export function summary(state, { temp: nowC, channelShort, rateC, rateOf }) {
  const now = nowC === null ? [] : [`${channelShort} at ${temp(nowC)}`];
  if (rateC !== null) now.push(`${rateOf} rate ${rate(rateC)} degrees a minute`);
  const moments = (state.told?.moments ?? []).map(({ label, time_s: timeS, temp_c: tempC }) => {
    const time = timeS === null ? "" : ` at ${stopwatch(timeS)}`;
    return `${label}${time}${tempC === null ? "" : `, ${temp(tempC)}`}`;
  });
  return `Temperatures, rates and controls. ${[...moments, ...now, state.phaseWord, ...coming(state).map(expected)].join("; ")}.`;
}
