// The curve in words, for people who cannot see it.
import { clockText } from "../../core/duration.js";
import { rate, temp } from "../../core/units.js";
import { t } from "../../core/words.js";
import { bandText, expectedMoments } from "./outlook.js";

/** @param {ExpectedMoment} due */
const expectedText = (due) => {
  const band = bandText(due);
  const [moment, time] = [due.label, `${clockText(due.time_s)}${band && ` (${band})`}`];
  return due.basis === "plan"
    ? t("{moment} planned at {time}", { moment, time })
    : t("{moment} expected at about {time}", { moment, time });
};

/**
 * @param {import("../state/state.js").State} state
 * @param {{ tempC: number | null, channelShort: string, rateC: number | null, rateOf: string }} numbers
 */
export function curveSummary(state, { tempC: nowC, channelShort, rateC, rateOf }) {
  const now = nowC === null ? [] : [t("{what} at {time}", { what: channelShort, time: temp(nowC) })];
  if (rateC !== null) now.push(t("{channel} rate {rate} degrees a minute", { channel: rateOf, rate: rate(rateC) }));
  const moments = (state.serverBatch?.moments ?? []).map(({ label, time_s: timeS, temp_c: tempC }) => {
    const marked = timeS === null ? label : t("{what} at {time}", { what: label, time: clockText(timeS) });
    return tempC === null ? marked : `${marked}, ${temp(tempC)}`;
  });
  const parts = [...moments, ...now, state.phaseWord, ...expectedMoments(state).map(expectedText)];
  return `${t("Temperatures, rates and controls.")} ${parts.join("; ")}.`;
}
