// How the crack sounds, a note in free words, and a moment out of turn: each one tap or one text in a sheet of its own.
import { stopwatch } from "../../core/clock.js";
import { t } from "../../core/words.js";

export function bindRemarks({ sheets, voice, state, clock, pad }) {
  const crack = sheets.element("crack");
  crack.addEventListener("click", ({ target }) => {
    const vigour = target.closest("[data-vigour]")?.dataset.vigour;
    if (!vigour) return;
    voice.say("crack", { vigour }, { text: t("Crack {vigour}", { vigour: state.words.vigours[vigour] }) + sheets.when, atMs: sheets.atMs });
    crack.close();
  });

  const note = sheets.element("note");
  const field = note.querySelector("textarea");
  note.querySelector("form").addEventListener("submit", (event) => {
    event.preventDefault();
    const text = field.value.trim();
    if (text) voice.say("note", { text }, { text: `${t("Note")}${sheets.when} · ${text}`, atMs: sheets.atMs });
    field.value = "";
    note.close();
  });

  const moment = sheets.element("moment");
  sheets.on("moment", () => {
    for (const button of moment.querySelectorAll("[data-moment]")) {
      const atMs = state.atMs(button.dataset.moment);
      const marked = atMs === null ? "" : t("marked at {time}; a second is kept and flagged", { time: stopwatch(state.since(atMs)) });
      button.querySelector("[data-when]").textContent = marked;
    }
  });
  moment.addEventListener("click", (event) => {
    const name = event.target.closest("[data-moment]")?.dataset.moment;
    if (!name) return;
    pad.mark(name, clock.now(event.timeStamp));
    moment.close();
  });
}
