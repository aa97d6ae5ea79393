// The trier check: one colour, optional words, Keep. A second tap on the same colour saves it.
import { find, findAll } from "../../core/dom.js";
import { notice } from "../../core/notice.js";
import { t } from "../../core/words.js";
import { TrierPhoto } from "./trier-photo.js";
import { ordered, WordGrid } from "./word-grid.js";

/**
 * @param {object} parts
 * @param {import("./sheets.js").Sheets} parts.sheets
 * @param {import("../state/state.js").State} parts.state
 * @param {import("../entries/entries.js").Entries} parts.entries
 * @param {import("../../offline/photo-outbox.js").PhotoOutbox} parts.photoOutbox
 */
export function bindTrier({ sheets, state, entries, photoOutbox }) {
  const sheet = sheets.element("trier");
  const swatches = findAll(sheet, "[data-stage]");
  const keep = find(sheet, "[data-keep]", HTMLButtonElement);
  const grid = new WordGrid(find(sheet, "[data-words]"), state.words);
  const photo = new TrierPhoto({ sheet, photoOutbox, onLate: (text) => notice({ text }) });
  /** @type {string | null} */
  let stage = null;

  const choose = (/** @type {string | null} */ chosen) => {
    stage = chosen;
    for (const swatch of swatches) swatch.setAttribute("aria-pressed", String(swatch.dataset.stage === stage));
    keep.disabled = !stage;
    grid.show(ordered(state.words, stage ?? state.stage));
  };
  const commit = () => {
    if (stage === null) return;
    const words = [...grid.chosen];
    const check = t("Trier {stage}", { stage: state.words.stages[stage] }) + sheets.when;
    const text = [check, words.map((word) => grid.label(word)).join(", ")].filter(Boolean).join(" · ");
    const body = { stage, ...(words.length && { words }), ...(photo.name && { photo: photo.name }) };
    entries.add("trier", body, { text, atMs: sheets.atMs });
    photo.keep(text);
    sheets.close("trier");
  };

  sheets.onOpen("trier", () => {
    grid.clear();
    photo.clear();
    choose(null);
  });
  for (const swatch of swatches) {
    const own = swatch.dataset.stage ?? null;
    swatch.addEventListener("click", () => (stage === own ? commit() : choose(own)));
  }
  keep.addEventListener("click", commit);
}
