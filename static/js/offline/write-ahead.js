// What was just said, written down in the same moment, until the database has it: a page may end before that.
const PREFIX = "drumside-said-";
let count = 0;

/** Write items down. A browser that stores nothing has them in the page alone, which the strip says. */
export function jot(items) {
  try {
    for (const item of items) {
      count += 1;
      localStorage.setItem(PREFIX + item.id, JSON.stringify({ item, at: [Date.now(), count] }));
    }
  } catch { /* full, or not allowed: the database follows at once */ }
}

/** Cross out what lies safely elsewhere. */
export function strike(ids) {
  try {
    for (const id of ids) localStorage.removeItem(PREFIX + id);
  } catch { /* nothing was written down either */ }
}

/** What an earlier page wrote down and had not crossed out when it ended, in the order in which it was said. */
export function jotted() {
  try {
    return Object.keys(localStorage)
      .filter((key) => key.startsWith(PREFIX))
      .map((key) => JSON.parse(localStorage.getItem(key)))
      .toSorted(({ at: one }, { at: other }) => one[0] - other[0] || one[1] - other[1])
      .map(({ item }) => item);
  } catch {
    return [];
  }
}
