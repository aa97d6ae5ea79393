// How long ago something was, in words as short as they are true.
const UNITS = [[86_400_000, "d"], [3_600_000, "h"], [60_000, "min"], [1000, "s"]]; // each from two of them on

/** From a time of this device's own clock: “3 h”, “12 min”, “40 s”. */
export const ago = (atMs) => span(Date.now() - atMs);

/** A span [ms]. */
export function span(ms) {
  const [unitMs, unit] = UNITS.find(([one]) => ms >= 2 * one) ?? UNITS.at(-1);
  return `${Math.max(0, Math.floor(ms / unitMs))} ${unit}`;
}
