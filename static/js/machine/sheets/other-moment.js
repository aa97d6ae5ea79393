// A moment out of order: one tap in its own sheet.
import { closest, find, findAll } from "../../core/dom.js";
import { clockText } from "../../core/duration.js";
import { t } from "../../core/words.js";

/**
 * @param {object} parts
 * @param {import("./sheets.js").Sheets} parts.sheets
 * @param {import("../state/state.js").State} parts.state
 * @param {import("../../core/clock.js").Clock} parts.clock
 * @param {import("../entries/pad.js").Pad} parts.pad
 */
export function bindOtherMoment({ sheets, state, clock, pad }) {
  const sheet = sheets.element("moment");
  sheets.onOpen("moment", () => {
    for (const button of findAll(sheet, "[data-moment]")) {
      const atMs = state.atMs(button.dataset.moment ?? "");
      const timeS = atMs === null ? null : state.secondsFromCharge(atMs);
      const time = clockText(timeS ?? 0);
      const marked = atMs === null ? "" : t("Already marked at {time}", { time });
      find(button, "[data-when]").textContent = marked;
    }
  });
  sheet.addEventListener("click", (event) => {
    const moment = closest(event, "[data-moment]")?.dataset.moment;
    if (!moment) return;
    pad.mark(moment, clock.now(event.timeStamp));
    sheet.close();
  });
}
