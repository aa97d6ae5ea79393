// Discards the batch under way if it was opened by mistake: the entry that opened it is undone, so it stays in the
// records, where that can be undone in turn.
import { byId, find } from "../../core/dom.js";
import { bindHold } from "../../core/hold-button.js";
import { t } from "../../core/words.js";

/**
 * @param {object} parts
 * @param {import("./sheets.js").Sheets} parts.sheets
 * @param {import("../state/state.js").State} parts.state
 * @param {import("../entries/entries.js").Entries} parts.entries
 */
export function bindDiscard({ sheets, state, entries }) {
  const place = byId("discard");
  const opened = () => (state.activeBatch === null ? null : state.openedEntry);
  const draw = () => {
    place.hidden = opened() === null;
  };
  bindHold(find(place, "button"), () => {
    const entry = opened();
    if (entry === null) return;
    const how = { text: t("Batch discarded"), batch: state.batch, shiftable: false, undone: t("the batch") };
    entries.add("undo", { entry }, how);
    sheets.close("log");
  });
  sheets.onOpen("log", draw);
  state.addEventListener("change", draw);
}
