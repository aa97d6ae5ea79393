// What waits on this device for the server, and what came of it: in the strip, in the echo, and as notices that stay.
import { notice } from "../../core/notice.js";
import { say } from "../screen/numbers.js";
import { t } from "../../core/words.js";

const KINDS = {
  moment: t("moment"), move: t("move"), trier: t("trier check"), aroma: t("aroma note"), crack: t("crack note"), note: t("note"), shift: t("change of time"),
  opened: t("new batch"), weighed: t("weight"), released: t("release"), undo: t("undo"), amend: t("correction"), colour: t("colour"),
};
const shown = new Set();

function refused({ id, entry, result }, { mend, outbox, photos }) {
  if (shown.has(id)) return; // several pages may tell of it
  shown.add(id);
  const text = t("The {kind} was not kept. {reason} All else was. Change it, or put it away.", { kind: KINDS[entry.kind] ?? entry.kind, reason: result.reason });
  const away = () => {
    outbox.dismiss(id);
    if (entry.body.photo) photos.drop(entry.body.photo); // which waits for it, and which nobody names now
  };
  notice({ id, text, refused: true, onDismiss: away, onMend: (onSent) => mend.open({ entry, reason: result.reason, onSent }) });
}

export function bindWaiting({ outbox, photos, echo, state, voice, mirror, mend }) {
  const strip = document.getElementById("waiting");
  outbox.addEventListener("waiting", ({ detail: { count, lasting } }) => {
    echo.lasting = lasting;
    say(strip, t("{n} waiting", { n: count }));
    strip.classList.toggle("bad", count > 0);
  });
  outbox.addEventListener("found", ({ detail: { entries } }) => {
    const ours = entries.filter(({ machine }) => machine === state.view.machine.id);
    state.restore(ours);
    const last = ours.findLast(({ id }) => voice.textOf(id));
    if (last) echo.recall({ id: last.id, text: voice.textOf(last.id) });
  });
  outbox.addEventListener("state", ({ detail }) => {
    const { id, state: reached, result } = detail;
    echo.state(id, reached);
    if (reached === "sent") mirror.settle(id);
    if (reached === "refused") {
      state.forget(id);
      refused(detail, { mend, outbox, photos });
    } else if (result?.notice) notice({ id, text: result.notice });
  });
  outbox.addEventListener("trouble", ({ detail: { status } }) => {
    if (status === 401) state.shutOut();
    if (status !== 403 || shown.has("role")) return;
    shown.add("role");
    notice({ id: "role", text: t("This device may not tap any more. What was tapped here waits, and is sent once the owner gives the device a role that may."), onDismiss: () => shown.delete("role") });
  });
}
