// Overlays up to the newest reading.

/**
 * Rows of an overlay that begin by a time, with bars that end by it. Readings may be behind the entries: then a moment
 * beyond the end of the curve waits until the curve has reached it.
 * @param {Record<string, any>} columns
 * @param {number} knownS
 */
export function upTo(columns, knownS) {
  const starts = [...(columns.t_s ?? columns.left ?? [])];
  const kept = starts.flatMap((atS, index) => (atS <= knownS ? [index] : []));
  const known = Object.fromEntries(
    Object.entries(columns).map(([name, column]) => [name, kept.map((index) => column[index])]),
  );
  if (known.right) known.right = known.right.map((/** @type {number} */ atS) => Math.min(atS, knownS));
  return known;
}
