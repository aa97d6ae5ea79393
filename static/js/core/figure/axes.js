// Ranges and ticks of a curve's axes: their one definition, for the live page and for records. Pure functions of the
// data, so that a page that follows a roast and one that opens later have the same axes.

/** @typedef {[start: number, end: number]} Ends */

const ROOM = 0.1; // free at each end of an axis, as a share of its data's span
const TEMP_STEP_C = 20;
const RATE_STEP = 5;
const EXPECTED_C = [60, 215]; // the live axis has room for these from the charge on, so that it seldom grows
const EXPECTED_RATE = 25; // the infrared sensor's at the turning point; the probe's is lower
const RATE_LIMITS = [-30, 60]; // rates beyond these are disturbances, and set no scale [°C/min]
const TURNED_BY_S = 240; // a lowest temperature after this time is no turning point
const RISE_C = 1; // the temperature has turned once it has risen by this
const NOW_SHARE = 0.72; // the newest reading is at most this far to the right
const LEAST_END_S = 300;
const END_STEP_S = 30;
const GROWTH = 1.2;
const TICK_STEPS = [1, 2, 5, 10, 20, 50, 100, 200];

/**
 * The lowest and the highest of all finite values; infinite if there are none.
 * @param {Iterable<ArrayLike<number>>} columns
 * @param {(value: number, index: number) => boolean} [counts]
 * @returns {Ends}
 */
function extent(columns, counts = () => true) {
  let [low, high] = [Infinity, -Infinity];
  for (const column of columns) {
    for (let index = 0; index < column.length; index += 1) {
      const value = column[index];
      if (!Number.isFinite(value) || !counts(value, index)) continue;
      if (value < low) low = value;
      if (value > high) high = value;
    }
  }
  return [low, high];
}

/**
 * Ends of the temperature axis: all temperatures with a tenth of headroom, in whole steps. [°C]
 * @param {ArrayLike<number>[]} temps
 * @param {{ isLive: boolean, labelShare?: number }} how `labelShare`: share of the axis that labels at the top take
 * @returns {Ends}
 */
export function tempEnds(temps, { isLive, labelShare = 0 }) {
  const known = extent(temps);
  const [low, high] = isLive || known[0] > known[1] ? extent([known, EXPECTED_C]) : known;
  const start = Math.floor((low - ROOM * (high - low)) / TEMP_STEP_C) * TEMP_STEP_C;
  const share = Math.min(0.4, labelShare);
  const room = (high - start) * Math.max(ROOM, share / (1 - share));
  return [start, Math.ceil((high + room) / TEMP_STEP_C) * TEMP_STEP_C];
}

/**
 * Time by which the temperatures of all bean channels have turned. [s from charge] Infinite while one still falls.
 * @param {ArrayLike<number>} times
 * @param {ArrayLike<number>[]} temps
 */
export function turnedS(times, temps) {
  let latestS = -Infinity;
  for (const column of temps) {
    let lowest = -1;
    let rise = 0;
    for (let index = 0; index < column.length; index += 1) {
      if (!Number.isFinite(column[index])) continue;
      if (times[index] <= TURNED_BY_S && !(column[index] >= column[lowest])) [lowest, rise] = [index, 0];
      rise = Math.max(rise, column[index] - column[lowest]);
    }
    if (lowest >= 0) latestS = Math.max(latestS, rise < RISE_C ? Infinity : times[lowest]);
  }
  return latestS;
}

/**
 * Ends of the rate axis: 0 and all rates from the turning point on, with a tenth of headroom, in whole steps. [°C/min]
 * Before it the probe shows how it cools, hundreds of degrees a minute.
 * @param {ArrayLike<number>} times
 * @param {ArrayLike<number>[]} rates
 * @param {{ isLive: boolean, fromS: number }} how `fromS`: the turning point
 * @returns {Ends}
 */
export function rateEnds(times, rates, { isLive, fromS }) {
  const [least, most] = RATE_LIMITS;
  const isCounted = (/** @type {number} */ rate, /** @type {number} */ index) =>
    times[index] >= fromS && rate >= least && rate <= most;
  const found = extent(rates, isCounted);
  const [low, high] = [Math.min(0, found[0]), Math.max(isLive ? EXPECTED_RATE : RATE_STEP, found[1])];
  const room = ROOM * (high - low);
  const start = low < 0 ? Math.floor((low - room) / RATE_STEP) * RATE_STEP : 0;
  return [start, Math.ceil((high + room) / RATE_STEP) * RATE_STEP];
}

/**
 * End of the time axis while a roast goes on: the newest reading is at about two thirds, and each step makes the axis
 * about a fifth longer, so that it changes seldom. [s from charge]
 * @param {number} newestS
 * @param {{ wordsShare?: number, dueS?: number }} [beside] the share of the axis that the labels at the end of the
 *   lines need, and a time to come that the axis must contain
 */
export function timeEnd(newestS, { wordsShare = 0, dueS = 0 } = {}) {
  const leastS = Math.max(newestS / Math.min(NOW_SHARE, Math.max(0.5, 1 - wordsShare)), dueS);
  let endS = LEAST_END_S;
  while (endS < leastS) endS = Math.floor((endS * GROWTH) / END_STEP_S) * END_STEP_S;
  return endS;
}

/**
 * Distance of ticks whose labels do not overlap: the smallest round step of at least `leastPx`.
 * @param {number} unitPx size of one unit
 * @param {number} leastPx
 */
export const tickStep = (unitPx, leastPx) =>
  TICK_STEPS.find((step) => step * unitPx >= leastPx) ?? /** @type {number} */ (TICK_STEPS.at(-1));

/**
 * Values moved apart by `gap` where they are closer, in their order, none below `floor` or above `ceiling`; NaN stays.
 * @param {number[]} values
 * @param {number} gap
 * @param {{ floor?: number, ceiling: number }} within
 */
export function apart(values, gap, { floor = -Infinity, ceiling }) {
  const placed = [...values];
  const order = values
    .map((_, index) => index)
    .filter((index) => Number.isFinite(values[index]))
    .toSorted((one, other) => values[one] - values[other]);
  let lowest = floor;
  for (const index of order) {
    placed[index] = Math.max(placed[index], lowest);
    lowest = placed[index] + gap;
  }
  let highest = ceiling;
  for (const index of order.toReversed()) {
    placed[index] = Math.min(placed[index], highest);
    highest = placed[index] - gap;
  }
  return placed;
}
