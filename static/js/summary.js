// The curve in words, for whoever does not see it.
import { stopwatch } from "./clock.js";
import { temp } from "./units.js";

export function summary(state, { temp: nowC, channelShort }) {
  const { batch } = state.view;
  const now = nowC === null ? [] : [`${channelShort} at ${temp(nowC)}`];
  const moments = (batch?.moments ?? []).map(({ label, time_s: timeS, temp_c: tempC }) => {
    const time = timeS === null ? "" : ` at ${stopwatch(timeS)}`;
    return `${label}${time}${tempC === null ? "" : `, ${temp(tempC)}`}`;
  });
  return `Temperatures, rates and controls. ${[...moments, ...now, state.phaseWord].join("; ")}.`;
}
