// Durations in words and figures.

/** @type {[number, string][]} */
const UNITS = [
  [86_400_000, "d"],
  [3_600_000, "h"],
  [60_000, "min"],
  [1000, "s"],
]; // each used from two units on

/**
 * A duration [ms] in whole units: “3 h”, “12 min”, “40 s”.
 * @param {number} ms
 */
export function spanText(ms) {
  const [unitMs, unit] = UNITS.find(([one]) => ms >= 2 * one) ?? [1000, "s"];
  return `${Math.max(0, Math.floor(ms / unitMs))} ${unit}`;
}

/**
 * Time since a moment of this device's own clock.
 * @param {number} atMs
 */
export const ageText = (atMs) => spanText(Date.now() - atMs);

/**
 * Minutes and seconds: 522.4 is 8:42.
 * @param {number} seconds
 */
export function clockText(seconds) {
  const whole = Math.floor(Math.abs(seconds));
  return `${seconds <= -1 ? "−" : ""}${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
