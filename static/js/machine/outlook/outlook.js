// The expected moments, by the server's forecast or the plan: as a list, as text on the pad, and as chart columns.
import { clockText } from "../../core/duration.js";
import { t } from "../../core/words.js";

/** @typedef {import("../state/state.js").State} State */

const ABOUT_S = 5; // a moment closer than this is due now
const COARSE_S = 60; // farther off, the time left is shown in steps of five seconds: it is not more accurate
const BESIDE_PX = 4; // between a rule and its label
const NEAR = 1.6; // farthest expected moment that the axis must contain, as a multiple of the time since charge
const EDGE = 0.03; // least distance of an expected moment from the right end of the axis
/** @type {Record<string, string>} */
const BASES = { curve: t("from this roast only"), batches: t("from earlier batches of this coffee"), plan: "" };

/**
 * The planned time of the drop, in seconds from charge; null if the plan does not give one.
 * @param {State} state
 */
function plannedDropS(state) {
  const plan = state.serverBatch?.plan;
  const crackMs = state.atMs("first_crack");
  const crackS = crackMs === null ? null : state.secondsFromCharge(crackMs);
  if (crackS === null) return plan?.drop_at_s ?? null;
  if (crackS <= 0) return null; // marked before the charge: no development
  if (plan?.development_s) return crackS + plan.development_s;
  return plan?.development_ratio ? crackS / (1 - plan.development_ratio) : null;
}

/**
 * The forecast or planned moments that the pad still waits for, by time; a plan takes precedence over a forecast.
 * @param {State} state
 * @returns {ExpectedMoment[]}
 */
export function expectedMoments(state) {
  if (state.phase !== "roasting") return [];
  const order = state.words.expected;
  const from = state.expected === null ? -1 : order.indexOf(state.expected);
  const ahead = (state.serverBatch && state.outlook?.ahead) || [];
  let found = ahead.filter(({ moment }) => order.indexOf(moment) >= from);
  const dropS = plannedDropS(state);
  if (dropS !== null) {
    const drop = found.find(({ moment }) => moment === "drop");
    const { drop: label } = state.words.moments;
    const planned = { moment: "drop", label, ...drop, time_s: dropS, low_s: null, high_s: null, basis: "plan" };
    found = [...found.filter((one) => one !== drop), planned];
  }
  const named = found.map((one) => ({ ...one, within: state.words.moments_within[one.moment] }));
  return named.toSorted((one, other) => one.time_s - other.time_s);
}

/**
 * The two ends of a band; null if there is no calibrated band.
 * @param {Pick<ExpectedMoment, "low_s" | "high_s">} due
 * @returns {[number, number] | null}
 */
export function bandOf({ low_s: low, high_s: high }) {
  return low !== null && high !== null && Number.isFinite(low) && Number.isFinite(high) ? [low, high] : null;
}

/**
 * “8:28–8:53”, or empty without a band.
 * @param {ExpectedMoment} due
 */
export const bandText = (due) => bandOf(due)?.map(clockText).join("–") ?? "";

/**
 * The time left, the time from charge, and the basis, as texts for the pad.
 * @param {ExpectedMoment} due
 * @param {number} nowS
 */
export function expectation(due, nowS) {
  const { time_s: atS, basis } = due;
  const leftS = atS - nowS;
  if (basis === "plan") {
    const far = clockText(leftS > -1 ? Math.max(0, leftS) : -leftS);
    const left = leftS > -1 ? t("in {time}", { time: far }) : t("{time} over", { time: far });
    return { left, when: t("planned {time}", { time: clockText(atS) }), basis: "" };
  }
  const band = bandOf(due);
  const latestS = band ? band[1] : atS + ABOUT_S;
  const aboutS = leftS > COARSE_S ? ABOUT_S * Math.round(leftS / ABOUT_S) : leftS;
  let left = t("{time} later than forecast", { time: clockText(nowS - (band ? band[1] : atS)) });
  if (leftS >= ABOUT_S) left = t("in about {time}", { time: clockText(aboutS) });
  else if (nowS <= latestS) left = t("due about now");
  return { left, when: `(${bandText(due) || clockText(atS)})`, basis: BASES[basis] ?? "" };
}

/**
 * The moments that the chart draws: the next two, and the planned one.
 * @param {ExpectedMoment[]} due
 */
const charted = (due) => due.filter(({ basis }, index) => index < 2 || basis === "plan");

/**
 * The time that the axis must contain: the next moment with its band, and the plan, as soon as they are so near that
 * the curve so far keeps most of the width.
 * @param {ExpectedMoment[]} due
 * @param {number} nowS
 */
export function reachS(due, nowS) {
  const reaching = due.filter(({ basis }, index) => index === 0 || basis === "plan");
  const times = reaching.map((one) => one.high_s ?? one.time_s);
  return Math.max(-1, ...times.filter((atS) => atS <= NEAR * nowS).map((atS) => atS * (1 + EDGE)));
}

/**
 * Columns of the chart's `ahead`, in whole seconds: labels without overlap and within the axis.
 * @param {ExpectedMoment[]} due
 * @param {object} axis
 * @param {import("../../core/figure/tiers.js").Tiers} axis.tiers the lines that the marked moments take
 * @param {(label: string) => number} axis.labelS time that a label takes
 * @param {number} axis.endS
 */
export function expectedColumns(due, { tiers, labelS, endS }) {
  /** @type {Record<string, (number | string)[]>} */
  const found = { t_s: [], label: [], y: [], low_s: [], high_s: [], align: [], beside_px: [] };
  for (const one of charted(due).filter(({ time_s: atS }) => atS < endS)) {
    const label = one.basis === "plan" ? t("planned {moment}", { moment: one.within }) : `${one.within}?`;
    const isLeft = one.time_s + labelS(label) <= endS;
    const fromS = isLeft ? one.time_s : one.time_s - labelS(label);
    const [lowS, highS] = bandOf(one)?.map(Math.round) ?? [NaN, NaN];
    found.t_s.push(Math.round(one.time_s));
    found.label.push(label);
    found.y.push(tiers.place(fromS, fromS + labelS(label)));
    found.low_s.push(lowS);
    found.high_s.push(highS);
    found.align.push(isLeft ? "left" : "right");
    found.beside_px.push(isLeft ? BESIDE_PX : -BESIDE_PX);
  }
  return found;
}
