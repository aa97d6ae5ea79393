// A photo that the server would not take stays here with its reason, to be sent again or thrown away.
import { notice } from "../../core/notice.js";
import { t } from "../../core/words.js";

export function bindRefusedPhotos({ photos }) {
  const shown = new Set();
  photos.addEventListener("refused", ({ detail: { id, text, reason } }) => {
    if (shown.has(id)) return;
    shown.add(id);
    const gone = (act) => {
      shown.delete(id);
      act(id);
    };
    notice({
      id,
      text: t("The photo of “{what}” was not kept; its check was. {reason}", { what: text, reason }),
      refused: true,
      mending: t("Send it again"),
      leaving: t("Throw it away"),
      onMend: (sent) => {
        sent();
        gone(() => photos.again(id));
      },
      onDismiss: () => gone(() => photos.drop(id)),
    });
  });
}
