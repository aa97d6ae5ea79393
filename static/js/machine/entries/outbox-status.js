// Entries that wait on this device for the server, and their results: in the strip, in the feedback, and as notices
// that stay.
import { byId, setText } from "../../core/dom.js";
import { notice } from "../../core/notice.js";
import { t } from "../../core/words.js";

/** @type {Record<string, string>} */
const KINDS = {
  moment: t("moment"),
  move: t("move"),
  trier: t("trier check"),
  aroma: t("aroma note"),
  crack: t("crack note"),
  note: t("note"),
  shift: t("change of time"),
  opened: t("new batch"),
  weighed: t("weight"),
  released: t("release"),
  undo: t("undo"),
  amend: t("correction"),
  colour: t("colour"),
};
const ROLE = "role"; // key of the notice about this device's role
const NO_ACCESS = 401;
const NOT_ALLOWED = 403;

/**
 * @param {object} parts
 * @param {import("../../offline/outbox.js").Outbox} parts.outbox
 * @param {import("../../offline/photo-outbox.js").PhotoOutbox} parts.photoOutbox
 * @param {import("./feedback.js").Feedback} parts.feedback
 * @param {import("../state/state.js").State} parts.state
 * @param {import("./entries.js").Entries} parts.entries
 * @param {import("../state/sync.js").Sync} parts.sync
 * @param {import("../sheets/edit-refused.js").EditRefused} parts.editor
 */
export function bindOutboxStatus({ outbox, photoOutbox, feedback, state, entries, sync, editor }) {
  const strip = byId("waiting");
  /** @type {Set<string>} */
  const shown = new Set();

  const showRefused = (/** @type {OutboxState} */ { id, entry, result }) => {
    if (shown.has(id)) return; // several pages may report it
    shown.add(id);
    const reason = result?.reason ?? "";
    const text = t("Not saved: {kind}. {reason} Change or remove it; all else is saved.", {
      kind: KINDS[entry.kind] ?? entry.kind,
      reason,
    });
    const dismiss = () => {
      outbox.dismiss(id);
      if (entry.body.photo) photoOutbox.remove(entry.body.photo); // no other entry names it
    };
    notice({
      text,
      refused: true,
      onDismiss: dismiss,
      onAction: (close) => editor.open({ entry, reason, onSent: close }),
    });
  };

  outbox.on("waiting", ({ count, isDurable }) => {
    feedback.isDurable = isDurable;
    setText(strip, t("{n} waiting", { n: count }));
    strip.classList.toggle("bad", count > 0);
    strip.hidden = count === 0;
  });
  outbox.on("found", ({ entries: found }) => {
    const ours = found.filter(({ machine }) => machine === state.view.machine.id);
    state.restore(ours);
    const last = ours.findLast(({ id }) => entries.textOf(id));
    if (last) feedback.restore({ id: last.id, text: entries.textOf(last.id) ?? "" });
  });
  outbox.on("state", (change) => {
    const { id, state: reached, result } = change;
    feedback.setState(id, reached);
    if (reached === "sent") sync.settle(id);
    if (reached === "refused") {
      state.remove(id);
      showRefused(change);
    } else if (result?.notice) notice({ text: result.notice });
  });
  outbox.on("trouble", ({ status }) => {
    if (status === NO_ACCESS) state.loseAccess();
    if (status !== NOT_ALLOWED || shown.has(ROLE)) return;
    shown.add(ROLE);
    const text = t(
      "This device may no longer record. Its taps are saved here, and sent once the owner changes its role.",
    );
    notice({ text, onDismiss: () => shown.delete(ROLE) });
  });
}
