// What was said, newest first; each line can be taken back, and moved a little in time where that makes sense. What waits
// here for the server stands on top, and what was taken back stays until the server has heard of it.
import { lineText } from "../entries/feedback.js";
import { t } from "../../core/words.js";

const TAPS = ["moment", "move", "trier", "aroma", "crack", "note"];

function button(text, label, act) {
  const element = document.createElement("button");
  element.type = "button";
  element.textContent = text;
  element.setAttribute("aria-label", label);
  element.addEventListener("click", act);
  return element;
}

function words({ text, under }) {
  const box = document.createElement("span");
  box.append(text);
  const small = document.createElement("small");
  small.textContent = under.filter(Boolean).join(" · ");
  box.append(small);
  return box;
}

/** The photo of a trier check, small; tapped, it has a page of its own. */
function picture({ text, photo }, code) {
  const link = document.createElement("a");
  link.className = "photo";
  link.href = `/batches/${encodeURIComponent(code)}/photos/${photo.name}`;
  const image = document.createElement("img");
  image.src = `/photos/${photo.name}/small`;
  image.alt = t("Photo: {what}", { what: text });
  image.decoding = "sync"; // the list is drawn anew with each change: it must not flicker
  link.append(image);
  return link;
}

export function bindLog({ sheets, state, voice }) {
  const sheet = sheets.element("log");
  const list = document.getElementById("log");

  const item = (line) => {
    const row = document.createElement("li");
    const undone = state.isUndone(line.entry);
    row.className = undone ? "undone" : "";
    row.append(words({ ...line, under: [...line.under, line.photo && !line.photo.here && t("photo on its way"), undone && t("taken back here, not on the server yet")] }));
    if (line.photo?.here) row.append(picture(line, state.told.code));
    if (undone) return row;
    if (line.shiftable) {
      for (const byS of [-5, 5]) {
        const by = `${byS < 0 ? "−" : "+"}5 s`;
        row.append(button(by, `${line.text}: ${by}`, () => voice.shift(line.entry, byS, `${line.text}, ${by}`)));
      }
    }
    if (line.kind === "opened") return row; // taking that back discards the batch: see `discard.js`
    row.append(button(t("Undo"), t("Undo {what}", { what: line.text }), () => voice.undo(line.entry, line.text)));
    return row;
  };
  const told = () => [...(state.told?.log ?? [])]
    .sort((one, other) => (other.time_s ?? -1) - (one.time_s ?? -1))
    .map((line) => ({ ...line, text: lineText(line), under: [line.by, ...(line.flags ?? [])] }));
  const waiting = (known) => [...state.pending.values()]
    .filter(({ id, kind }) => TAPS.includes(kind) && !known.some(({ entry }) => entry === id))
    .toSorted((one, other) => other.at_ms - one.at_ms)
    .map(({ id, kind, body }) => ({ entry: id, kind, text: voice.textOf(id) ?? kind, under: [body.photo ? t("◐ waits here, with its photo") : t("◐ waits here")], shiftable: true }));
  const draw = () => {
    const known = told();
    const lines = [...waiting(known), ...known];
    list.replaceChildren(...lines.map(item));
    if (!lines.length) list.append(t("Nothing yet."));
  };

  sheets.on("log", draw);
  state.addEventListener("change", () => sheet.open && draw());
}
