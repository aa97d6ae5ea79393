// The aroma note: one word or more, those that the last stage tends to give first, and any word of one's own.
import { ordered, WordGrid } from "./word-grid.js";
import { t } from "../../core/words.js";

export function bindAroma({ sheets, state, voice }) {
  const sheet = sheets.element("aroma");
  const keep = sheet.querySelector("[data-keep]");
  const grid = new WordGrid(sheet.querySelector("[data-words]"), state.words, () => mark());
  const mark = () => (keep.disabled = !grid.chosen.size);
  const other = sheet.querySelector("[data-other]");

  sheets.on("aroma", () => {
    grid.clear();
    grid.show(ordered(state.words, state.stage));
    const stage = state.words.stages[state.stage];
    sheet.querySelector("[data-stage-words]").textContent = stage ? t("what {stage} tends to give comes first", { stage }) : "";
    mark();
  });
  other.addEventListener("submit", (event) => {
    event.preventDefault();
    const field = other.querySelector("input");
    const word = field.value.trim().toLowerCase();
    field.value = "";
    if (!word) return;
    grid.toggle(word, true);
    grid.show([...grid.host.children].map((button) => button.dataset.word));
    mark();
  });
  keep.addEventListener("click", () => {
    const words = [...grid.chosen];
    voice.say("aroma", { words }, { text: `${t("Aroma")}${sheets.when} · ${words.map((word) => grid.called(word)).join(", ")}`, atMs: sheets.atMs });
    sheets.close("aroma");
  });
}
