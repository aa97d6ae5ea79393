// Axes that grow in whole steps and never jump, and end labels that do not overlap.
const SETTLED_S = 90; // before it the probe catches up with the beans, as in roastlog/plot/panels.py

/** @typedef {{ start: number, end: number }} Range */

/**
 * Values moved apart by `gap` where they are closer, none above `ceiling`; NaN stays.
 * @param {number[]} values
 * @param {number} gap
 * @param {number} ceiling
 */
export function apart(values, gap, ceiling) {
  const placed = [...values];
  const order = values
    .map((_, index) => index)
    .filter((index) => Number.isFinite(values[index]))
    .toSorted((one, other) => values[one] - values[other]);
  order.slice(1).forEach((index, step) => {
    placed[index] = Math.max(placed[index], placed[order[step]] + gap);
  });
  let highest = ceiling;
  for (const index of order.toReversed()) {
    placed[index] = Math.min(placed[index], highest);
    highest = placed[index] - gap;
  }
  return placed;
}

/**
 * Extend a range to at least `end`, in whole steps.
 * @param {Range} range
 * @param {number} end
 * @param {number} step
 */
export function reach(range, end, step) {
  const whole = Math.ceil(end / step) * step;
  if (whole > range.end) range.end = whole;
}

/**
 * Make the axes include a new temperature [°C] and its rate [°C/min] at a time from charge [s].
 * @param {Record<string, Range>} ranges
 * @param {number} value
 * @param {number} slope
 * @param {number} timeS
 */
export function widen({ temp, rate }, value, slope, timeS) {
  if (value > temp.end - 15) reach(temp, value + 20, 20);
  if (timeS < SETTLED_S) return;
  if (slope > rate.end && slope < 60) rate.end = Math.ceil(slope / 5) * 5 + 2;
  if (slope < rate.start && slope > -30) rate.start = Math.floor(slope / 5) * 5;
}
