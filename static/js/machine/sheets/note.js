// A free note: a text in its own sheet.
import { find } from "../../core/dom.js";
import { t } from "../../core/words.js";

/**
 * @param {object} parts
 * @param {import("./sheets.js").Sheets} parts.sheets
 * @param {import("../entries/entries.js").Entries} parts.entries
 */
export function bindNote({ sheets, entries }) {
  const sheet = sheets.element("note");
  const field = find(sheet, "textarea", HTMLTextAreaElement);
  find(sheet, "form").addEventListener("submit", (event) => {
    event.preventDefault();
    const text = field.value.trim();
    if (text) entries.add("note", { text }, { text: `${t("Note")}${sheets.when} · ${text}`, atMs: sheets.atMs });
    field.value = "";
    sheet.close();
  });
}
