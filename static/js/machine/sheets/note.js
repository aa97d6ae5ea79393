// Notes: a free text in its own sheet, and the house's quick notes, each a tap.
import { find, findAll } from "../../core/dom.js";
import { t } from "../../core/words.js";

/**
 * @param {object} parts
 * @param {import("./sheets.js").Sheets} parts.sheets
 * @param {import("../entries/entries.js").Entries} parts.entries
 * @param {import("../../core/clock.js").Clock} parts.clock
 */
export function bindNote({ sheets, entries, clock }) {
  const sheet = sheets.element("note");
  const field = find(sheet, "textarea", HTMLTextAreaElement);
  find(sheet, "form").addEventListener("submit", (event) => {
    event.preventDefault();
    const text = field.value.trim();
    if (text) entries.add("note", { text }, { text: `${t("Note")}${sheets.when} · ${text}`, atMs: sheets.atMs });
    field.value = "";
    sheet.close();
  });
  for (const button of findAll(document, "[data-quick]")) {
    const text = button.dataset.quick ?? "";
    button.addEventListener("click", (event) =>
      entries.add("note", { text }, { text, atMs: clock.now(event.timeStamp) }),
    );
  }
}
