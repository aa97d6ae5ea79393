// The curve in words, for whoever does not see it.
import { stopwatch } from "./clock.js";

export function summary(state, { temp, channelShort }) {
  const { batch } = state.view;
  const now = temp === null ? [] : [`${channelShort} at ${temp.toFixed(1)} °C`];
  const moments = (batch?.moments ?? []).map(({ label, time_s: timeS, temp_c: tempC }) => {
    const time = timeS === null ? "" : ` at ${stopwatch(timeS)}`;
    return `${label}${time}${tempC === null ? "" : `, ${tempC.toFixed(1)} °C`}`;
  });
  return `Temperatures, rates and controls. ${[...moments, ...now, state.phaseWord].join("; ")}.`;
}
