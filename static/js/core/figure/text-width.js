// Widths of the figures' labels, measured in the browser's own font.
const FONT = "bold 13px system-ui, sans-serif"; // as in roastlog/plot/panels.py; the bold labels are the widest
const context = /** @type {CanvasRenderingContext2D} */ (document.createElement("canvas").getContext("2d"));
/** @type {Map<string, number>} */
const known = new Map();

/**
 * Width of a label in px. Digits are equally wide, so that a value that changes has the same width.
 * @param {string} text
 */
export function textPx(text) {
  const shape = text.replace(/\d/g, "0");
  if (!known.has(shape)) {
    context.font = FONT;
    known.set(shape, Math.ceil(context.measureText(shape).width));
  }
  return /** @type {number} */ (known.get(shape));
}

/**
 * A word and a value; the word is cut where both are wider than a number of px.
 * @param {string} word
 * @param {string} value
 * @param {number} mostPx
 */
export function labelOf(word, value, mostPx) {
  let [text, kept] = [`${word} ${value}`.trimEnd(), word.length];
  while (textPx(text) > mostPx && kept > 1) {
    kept -= 1;
    text = `${word.slice(0, kept).trimEnd()}… ${value}`.trimEnd();
  }
  return text;
}
