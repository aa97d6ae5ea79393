// The trier check: one colour, words if there are any, Keep. The same colour twice keeps it, with the hand where it is.
import { notice } from "../../core/notice.js";
import { newId } from "../../offline/outbox.js";
import { ordered, WordGrid } from "./word-grid.js";
import { TrierPhoto } from "./trier-photo.js";
import { t } from "../../core/words.js";

export function bindTrier({ sheets, state, voice, photos }) {
  const sheet = sheets.element("trier");
  const swatches = [...sheet.querySelectorAll("[data-stage]")];
  const keep = sheet.querySelector("[data-keep]");
  const grid = new WordGrid(sheet.querySelector("[data-words]"), state.words);
  const photo = new TrierPhoto({ sheet, photos, late: (text) => notice({ id: newId(), text }) });
  let stage = null;

  const choose = (chosen) => {
    stage = chosen;
    for (const swatch of swatches) swatch.setAttribute("aria-pressed", swatch.dataset.stage === stage);
    keep.disabled = !stage;
    grid.show(ordered(state.words, stage ?? state.stage));
  };
  const commit = () => {
    const words = [...grid.chosen];
    const text = [t("Trier {stage}", { stage: state.words.stages[stage] }) + sheets.when, words.map((word) => grid.called(word)).join(", ")].filter(Boolean).join(" · ");
    const body = { stage, ...(words.length && { words }), ...(photo.name && { photo: photo.name }) };
    voice.say("trier", body, { text, atMs: sheets.atMs });
    photo.keep(text);
    sheets.close("trier");
  };

  sheets.on("trier", () => {
    grid.clear();
    photo.clear();
    choose(null);
  });
  for (const swatch of swatches) {
    swatch.addEventListener("click", () => (stage === swatch.dataset.stage ? commit() : choose(swatch.dataset.stage)));
  }
  keep.addEventListener("click", commit);
}
