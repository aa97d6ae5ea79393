// The sound of the crack: one tap in its own sheet.
import { closest } from "../../core/dom.js";
import { t } from "../../core/words.js";

/**
 * @param {object} parts
 * @param {import("./sheets.js").Sheets} parts.sheets
 * @param {import("../entries/entries.js").Entries} parts.entries
 * @param {import("../state/state.js").State} parts.state
 */
export function bindCrack({ sheets, entries, state }) {
  const sheet = sheets.element("crack");
  sheet.addEventListener("click", (event) => {
    const vigour = closest(event, "[data-vigour]")?.dataset.vigour;
    if (!vigour) return;
    const text = t("Crack {vigour}", { vigour: state.words.vigours[vigour] }) + sheets.when;
    entries.add("crack", { vigour }, { text, atMs: sheets.atMs });
    sheet.close();
  });
}
