// A photo that the server refused stays here with the reason, to be sent again or discarded.
import { notice } from "../../core/notice.js";
import { t } from "../../core/words.js";

/** @param {import("../../offline/photo-outbox.js").PhotoOutbox} photoOutbox */
export function bindRefusedPhotos(photoOutbox) {
  /** @type {Set<string>} */
  const shown = new Set();
  photoOutbox.on("refused", ({ id, text, reason }) => {
    if (shown.has(id)) return;
    shown.add(id);
    notice({
      text: t("Photo not saved: “{what}”. The check is saved. {reason}", { what: text, reason }),
      refused: true,
      action: t("Send again"),
      dismiss: t("Remove"),
      onAction: (close) => {
        close();
        shown.delete(id);
        photoOutbox.retry(id);
      },
      onDismiss: () => {
        shown.delete(id);
        photoOutbox.remove(id);
      },
    });
  });
}
