// The entries of the batch, newest first; each can be undone, and shifted in time if that makes sense. Entries that
// wait here for the server come first, and an undone one stays until the server knows of it.
import { byId } from "../../core/dom.js";
import { t } from "../../core/words.js";
import { lineText } from "../entries/feedback.js";

const TAPPED = ["moment", "move", "trier", "aroma", "crack", "note"];

/**
 * @typedef {Pick<LogLine, "entry" | "kind" | "text" | "shiftable"> & { photo?: LogLine["photo"], under: string[] }}
 * Item
 */

/**
 * @param {string} text
 * @param {string} label
 * @param {() => void} act
 */
function button(text, label, act) {
  const element = document.createElement("button");
  element.type = "button";
  element.textContent = text;
  element.setAttribute("aria-label", label);
  element.addEventListener("click", act);
  return element;
}

/**
 * @param {string} text
 * @param {string[]} under
 */
function words(text, under) {
  const box = document.createElement("span");
  box.append(text);
  const small = document.createElement("small");
  small.textContent = under.join(" · ");
  box.append(small);
  return box;
}

/**
 * The photo of a trier check, small; a tap opens its page.
 * @param {string} name
 * @param {string} text
 * @param {string} code
 */
function photoLink(name, text, code) {
  const link = document.createElement("a");
  link.className = "photo";
  link.href = `/batches/${encodeURIComponent(code)}/photos/${name}`;
  const image = document.createElement("img");
  image.src = `/photos/${name}/small`;
  image.alt = t("Photo: {what}", { what: text });
  image.decoding = "sync"; // the list is redrawn with each change and must not flicker
  link.append(image);
  return link;
}

/**
 * @param {object} parts
 * @param {import("./sheets.js").Sheets} parts.sheets
 * @param {import("../state/state.js").State} parts.state
 * @param {import("../entries/entries.js").Entries} parts.entries
 */
export function bindLog({ sheets, state, entries }) {
  const sheet = sheets.element("log");
  const list = byId("log");

  const row = (/** @type {Item} */ { entry, kind, text, shiftable, photo, under }) => {
    const element = document.createElement("li");
    const undone = state.isUndone(entry);
    element.className = undone ? "undone" : "";
    const notes = [...under];
    if (photo && !photo.here) notes.push(t("photo on its way"));
    if (undone) notes.push(t("undone here, not on the server yet"));
    element.append(words(text, notes));
    if (photo?.here && state.serverBatch) element.append(photoLink(photo.name, text, state.serverBatch.code));
    if (undone) return element;
    if (shiftable) {
      for (const byS of [-5, 5]) {
        const by = `${byS < 0 ? "−" : "+"}5 s`;
        element.append(button(by, `${text}: ${by}`, () => entries.shift(entry, byS, `${text}, ${by}`)));
      }
    }
    if (kind === "opened") return element; // that undo discards the batch: see `discard.js`
    element.append(button(t("Undo"), t("Undo {what}", { what: text }), () => entries.undo(entry, text)));
    return element;
  };
  /** @returns {Item[]} */
  const onServer = () =>
    [...(state.serverBatch?.log ?? [])]
      .toSorted((one, other) => (other.time_s ?? -1) - (one.time_s ?? -1))
      .map((line) => ({
        ...line,
        text: lineText(line),
        under: [...(line.by ? [line.by] : []), ...(line.flags ?? [])],
      }));
  /** @type {(known: Item[]) => Item[]} */
  const waiting = (known) =>
    [...state.pending.values()]
      .filter(({ id, kind }) => TAPPED.includes(kind) && !known.some(({ entry }) => entry === id))
      .toSorted((one, other) => other.at_ms - one.at_ms)
      .map(({ id, kind, body }) => ({
        entry: id,
        kind,
        text: entries.textOf(id) ?? kind,
        under: [body.photo ? t("◐ waiting here, with its photo") : t("◐ waiting here")],
        shiftable: true,
      }));
  const draw = () => {
    const known = onServer();
    const items = [...waiting(known), ...known];
    list.replaceChildren(...items.map(row));
    if (!items.length) list.append(t("Nothing yet."));
  };

  sheets.onOpen("log", draw);
  state.addEventListener("change", () => sheet.open && draw());
}
