// What was said, newest first; each line can be taken back, and moved a little in time where that makes sense.
import { lineText } from "./echo.js";

function button(text, label, act) {
  const element = document.createElement("button");
  element.type = "button";
  element.textContent = text;
  element.setAttribute("aria-label", label);
  element.addEventListener("click", act);
  return element;
}

function words(line) {
  const box = document.createElement("span");
  box.append(lineText(line));
  const under = [line.by, ...(line.flags ?? [])].filter(Boolean);
  const small = document.createElement("small");
  small.textContent = under.join(" · ");
  box.append(small);
  return box;
}

export function bindLog({ sheets, state, voice }) {
  const sheet = sheets.element("log");
  const list = document.getElementById("log");

  const item = (line) => {
    const row = document.createElement("li");
    const undone = state.isUndone(line.entry);
    const text = lineText(line);
    row.className = undone ? "undone" : "";
    row.append(words(line));
    if (undone) return row;
    if (line.shiftable) {
      for (const byS of [-5, 5]) {
        const by = `${byS < 0 ? "−" : "+"}5 s`;
        row.append(button(by, `${text}: ${by}`, () => voice.shift(line.entry, byS, `${text}, ${by}`)));
      }
    }
    // Undoing the opening throws the whole batch away: not from here once beans are in it.
    if (line.kind === "opened" && state.moments.has("charge")) return row;
    row.append(button("Undo", `Undo ${text}`, () => voice.undo(line.entry, text)));
    return row;
  };
  const draw = () => {
    const lines = [...(state.view.batch?.log ?? [])].sort((one, other) => (other.time_s ?? -1) - (one.time_s ?? -1));
    list.replaceChildren(...lines.map(item));
    if (!lines.length) list.append("Nothing yet.");
  };

  sheets.on("log", draw);
  state.addEventListener("change", () => sheet.open && draw());
}
