// The aroma note: one word or more, those typical of the last stage first, and own words.
import { find } from "../../core/dom.js";
import { t } from "../../core/words.js";
import { ordered, WordGrid } from "./word-grid.js";

/**
 * @param {object} parts
 * @param {import("./sheets.js").Sheets} parts.sheets
 * @param {import("../state/state.js").State} parts.state
 * @param {import("../entries/entries.js").Entries} parts.entries
 */
export function bindAroma({ sheets, state, entries }) {
  const sheet = sheets.element("aroma");
  const keep = find(sheet, "[data-keep]", HTMLButtonElement);
  const other = find(sheet, "[data-other]");
  const field = find(other, "input", HTMLInputElement);
  const update = () => {
    keep.disabled = !grid.chosen.size;
  };
  const grid = new WordGrid(find(sheet, "[data-words]"), state.words, update);

  sheets.onOpen("aroma", () => {
    grid.clear();
    grid.show(ordered(state.words, state.stage));
    const stage = state.words.stages[state.stage ?? ""];
    const hint = stage ? t("typical of {stage} first", { stage }) : "";
    find(sheet, "[data-stage-words]").textContent = hint;
    update();
  });
  other.addEventListener("submit", (event) => {
    event.preventDefault();
    const word = field.value.trim().toLowerCase();
    field.value = "";
    if (!word) return;
    grid.toggle(word, true);
    grid.show(grid.shown);
    update();
  });
  keep.addEventListener("click", () => {
    const words = [...grid.chosen];
    const labels = words.map((word) => grid.label(word)).join(", ");
    entries.add("aroma", { words }, { text: `${t("Aroma")}${sheets.when} · ${labels}`, atMs: sheets.atMs });
    sheets.close("aroma");
  });
}
