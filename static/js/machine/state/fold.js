// Folds a batch's entries by the rules of roastlog/journal/fold/, for entries that the server does not have yet.
// tests/browser/test_state.py compares the two.

/**
 * @typedef {object} Folded
 * @property {Set<string>} undone ids of undone entries
 * @property {Map<string, { entry: string, atMs: number }>} moments the valid ones
 * @property {Record<string, number>} settings by control
 * @property {string | null} stage
 * @property {string} state
 */

/** @type {Record<string, string>} */
const DECIDED = { release: "released", hold: "held", reject: "rejected" };

/**
 * Ids of undone entries. An undo that is itself undone has no effect, nor do undos in a ring.
 * @param {Line[]} lines
 * @returns {Set<string>}
 */
export function undoneIds(lines) {
  const undos = new Map(lines.filter(({ kind }) => kind === "undo").map(({ id, body }) => [id, String(body.entry)]));
  const isInRing = (/** @type {string} */ id) => {
    const seen = new Set();
    let target = undos.get(id);
    while (target !== undefined && target !== id && !seen.has(target)) {
      seen.add(target);
      target = undos.get(target);
    }
    return target === id;
  };
  /** @type {(id: string) => boolean} */
  const counts = (id) => !isInRing(id) && ![...undos].some(([undo, target]) => target === id && counts(undo));
  return new Set([...undos].filter(([undo]) => counts(undo)).map(([, target]) => target));
}

/**
 * @param {Line[]} lines each as it was entered, in any order; of several with one id the first counts
 * @returns {Folded}
 */
export function fold(lines) {
  const unique = [...new Map(lines.toReversed().map((line) => [line.id, line])).values()];
  const undone = undoneIds(unique);
  const valid = unique.filter(({ id }) => !undone.has(id));
  const shifts = valid.filter(({ kind }) => kind === "shift");
  const shiftMs = (/** @type {string} */ id) =>
    Math.round(shifts.reduce((sumMs, { body }) => sumMs + (body.entry === id ? 1000 * body.by_s : 0), 0));
  const counted = valid
    .map((line) => ({ ...line, at_ms: line.at_ms + shiftMs(line.id) }))
    .toSorted((one, other) => one.at_ms - other.at_ms || (one.id < other.id ? -1 : 1));

  /** @type {Folded["moments"]} */
  const moments = new Map();
  /** @type {Folded["settings"]} */
  const settings = {};
  let stage = null;
  for (const { id, kind, at_ms: atMs, body } of counted) {
    if (kind === "moment" && !moments.has(body.moment)) moments.set(body.moment, { entry: id, atMs });
    if (kind === "move") settings[body.control] = body.setting;
    if (kind === "trier") stage = body.stage;
  }
  return { undone, moments, settings, stage, state: stateOf(unique, counted, moments) };
}

/**
 * @param {Line[]} lines
 * @param {Line[]} counted
 * @param {Folded["moments"]} moments
 */
function stateOf(lines, counted, moments) {
  const has = (/** @type {Line[]} */ some, /** @type {string} */ kind) => some.some((line) => line.kind === kind);
  if (has(lines, "opened") && !has(counted, "opened")) return "discarded";
  const decision = counted.findLast(({ kind }) => kind === "released");
  if (decision) return DECIDED[decision.body.decision];
  if (has(counted, "weighed")) return "weighed";
  if (moments.has("drop")) return "cooling";
  return moments.has("charge") ? "roasting" : "open";
}
