// Applies the changes in an `entry` event to the view of this page.

/**
 * New lines come first, unless the event gives the whole order.
 * @param {LogLine[]} old
 * @param {NonNullable<FlushEvent["log"]>} changes
 */
function changedLog(old, { lines, gone, order }) {
  const known = new Map(old.map((line) => [line.entry, line]));
  const fresh = lines.map(({ entry }) => entry).filter((entry) => !known.has(entry));
  lines.forEach((line) => known.set(line.entry, line));
  gone.forEach((entry) => known.delete(entry));
  const stayed = old.map(({ entry }) => entry).filter((entry) => known.has(entry));
  return (order ?? [...fresh, ...stayed]).flatMap((entry) => known.get(entry) ?? []);
}

/**
 * Folded lines, in any order: changed ones replace the old ones.
 * @param {Line[]} old
 * @param {Line[]} changed
 */
const changedLines = (old, changed) => [...new Map([...old, ...changed].map((line) => [line.id, line])).values()];

/**
 * The view after the event; null if the event is based on another view than this page's.
 * @param {View} view
 * @param {FlushEvent} event
 * @returns {View | null}
 */
export function changedView(view, { after, view: fields, batch, chart, log, lines }) {
  if (view.seq !== after) return null;
  const made = { ...view, ...fields };
  if (!view.batch || fields.batch !== undefined) return made;
  made.batch = { ...view.batch, ...batch };
  if (chart) made.batch.chart = { ...view.batch.chart, ...chart };
  if (log) made.batch.log = changedLog(view.batch.log, log);
  if (lines.length) made.batch.lines = changedLines(view.batch.lines, lines);
  return made;
}
