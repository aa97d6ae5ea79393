// Discards the batch that is under way, for one that was opened by mistake: the entry that opened it is taken back, so it
// stays in the records, where that can be undone.
import { bindHold } from "../../core/hold-button.js";
import { t } from "../../core/words.js";

export function bindDiscard({ sheets, state, voice }) {
  const place = document.getElementById("discard");
  const opened = () => (state.underWay === null ? null : state.opened);
  const draw = () => { place.hidden = opened() === null; };
  bindHold(place.querySelector("button"), () => {
    const entry = opened();
    if (entry === null) return;
    voice.say("undo", { entry }, { text: t("Batch discarded"), batch: state.batch, shiftable: false });
    sheets.close("log");
  });
  sheets.on("log", draw);
  state.addEventListener("change", draw);
}
