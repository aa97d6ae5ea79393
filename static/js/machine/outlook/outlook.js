// What is to come, as the server foretells it or the plan has it: a list, the pad's words for it, the chart's columns.
import { stopwatch } from "../../core/clock.js";
import { t } from "../../core/words.js";

const ABOUT_S = 5; // nearer than this is now
const COARSE_S = 60; // farther off, the time left is told by steps of five seconds: it is no surer than that
const TIERS = [1, 0.915, 0.83]; // where the server puts the words of moments, see roastlog/plot/overlays.py
const BESIDE_PX = 4; // between a rule and its word
const BASES = { curve: t("by this curve alone"), batches: t("by earlier batches of this coffee"), plan: "" };

/** When the drop is planned, in seconds from charge; null where the plan does not say. */
function plannedDrop(state) {
  const plan = state.told?.plan ?? {};
  const crackMs = state.atMs("first_crack");
  const crackS = crackMs === null ? null : state.since(crackMs);
  if (crackS === null) return plan.drop_at_s ?? null;
  if (crackS <= 0) return null; // marked before the charge: nothing develops
  if (plan.development_s) return crackS + plan.development_s;
  return plan.development_ratio ? crackS / (1 - plan.development_ratio) : null;
}

/** The moments that the pad still waits for and that something is known of, by their times; a plan goes before a forecast. */
export function coming(state) {
  if (state.phase !== "roasting") return [];
  const order = state.words.expected;
  const from = order.indexOf(state.expected);
  const found = ((state.told && state.outlook?.ahead) || []).filter(({ moment }) => order.indexOf(moment) >= from);
  const dropS = plannedDrop(state);
  if (dropS !== null) {
    const drop = found.find(({ moment }) => moment === "drop") ?? { moment: "drop", label: state.words.moments.drop };
    found.splice(0, found.length, ...found.filter((one) => one !== drop), { ...drop, time_s: dropS, low_s: null, high_s: null, basis: "plan" });
  }
  const named = found.map((one) => ({ ...one, within: state.words.moments_within[one.moment] }));
  return named.sort((one, other) => one.time_s - other.time_s);
}

const isBand = (low, high) => Number.isFinite(low) && Number.isFinite(high);

/** “8:28–8:53”, or nothing where no band can be honest. */
export const band = ({ low_s: low, high_s: high }) => (isBand(low, high) ? `${stopwatch(low)}–${stopwatch(high)}` : "");

/** How far off it is, for the pad, and what that rests on. */
export function expectation(due, nowS) {
  const { time_s: atS, basis } = due;
  const left = atS - nowS;
  if (basis === "plan") {
    const [time, far] = [stopwatch(atS), stopwatch(Math.abs(left))];
    return { when: left > -1 ? t("planned {time}, in {far}", { time, far: left < 0 ? stopwatch(0) : far }) : t("planned {time}, {far} over", { time, far }), basis: "" };
  }
  const span = band(due);
  const around = ` (${span || stopwatch(atS)})`;
  const latest = span ? due.high_s : atS + ABOUT_S;
  const about = left > COARSE_S ? ABOUT_S * Math.round(left / ABOUT_S) : left;
  if (left >= ABOUT_S) return { when: t("in about {time}", { time: stopwatch(about) }) + around, basis: BASES[basis] ?? "" };
  if (nowS <= latest) return { when: t("due about now") + around, basis: BASES[basis] ?? "" };
  return { when: t("{time} later than foreseen", { time: stopwatch(nowS - (span ? due.high_s : atS)) }) + around, basis: BASES[basis] ?? "" };
}

/** Those that the chart draws: the nearest two, and what is planned. */
export const drawn = (due) => due.filter(({ basis }, index) => index < 2 || basis === "plan");

/** How far the time axis has to reach for them: for the nearest with its band, and for the plan. */
export function reachS(due) {
  return Math.max(-1, ...due.filter(({ basis }, index) => index === 0 || basis === "plan").map((one) => one.high_s ?? one.time_s));
}

/** Columns of the chart's `ahead`, in whole seconds: each word on a line where no other is in its way, and inside of the axis. */
export function columns(due, marks, letterS, endS) {
  const wide = (label) => (label.length + 1) * letterS;
  const free = TIERS.map((tier) => Math.max(-Infinity, ...marks.t_s.map((atS, index) => (Math.abs(marks.y[index] - tier) < 0.01 ? atS + wide(marks.label[index]) : -Infinity))));
  const found = { t_s: [], label: [], y: [], low_s: [], high_s: [], align: [], beside_px: [] };
  for (const one of drawn(due).filter(({ time_s: atS }) => atS < endS)) {
    const label = one.basis === "plan" ? t("planned {moment}", { moment: one.within }) : `${one.within}?`;
    const [align, beside, fromS] = one.time_s + wide(label) > endS ? ["right", -BESIDE_PX, one.time_s - wide(label)] : ["left", BESIDE_PX, one.time_s];
    const tier = Math.max(0, free.findIndex((untilS) => untilS <= fromS));
    free[tier] = fromS + wide(label);
    const edges = band(one) ? [Math.round(one.low_s), Math.round(one.high_s)] : [NaN, NaN];
    [Math.round(one.time_s), label, TIERS[tier], ...edges, align, beside].forEach((value, index) => Object.values(found)[index].push(value));
  }
  return found;
}
