// New entries, written synchronously until the database has them: a page may end before that.
const PREFIX = "drumside-said-";
let count = 0;

/**
 * Write items. If the browser stores nothing, they are in the page only, and the strip says so.
 * @param {OutboxItem[]} items
 */
export function writeAhead(items) {
  try {
    for (const item of items) {
      count += 1;
      localStorage.setItem(PREFIX + item.id, JSON.stringify({ item, at: [Date.now(), count] }));
    }
  } catch {
    // full, or not allowed: the database follows at once
  }
}

/**
 * Remove items that are safely stored elsewhere.
 * @param {string[]} ids
 */
export function removeWritten(ids) {
  try {
    for (const id of ids) localStorage.removeItem(PREFIX + id);
  } catch {
    // nothing was written either
  }
}

/**
 * Items that an earlier page wrote and had not removed when it ended, in order of creation.
 * @returns {OutboxItem[]}
 */
export function readWritten() {
  try {
    return Object.keys(localStorage)
      .filter((key) => key.startsWith(PREFIX))
      .map((key) => JSON.parse(localStorage.getItem(key) ?? ""))
      .toSorted(({ at: one }, { at: other }) => one[0] - other[0] || one[1] - other[1])
      .map(({ item }) => item);
  } catch {
    return [];
  }
}
