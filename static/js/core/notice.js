// Notices and refusals in <div id="notices" class="notices">: each stays until somebody has dealt with it.
import { t } from "./words.js";

/** `mending` and `leaving` are what its buttons say. */
export function notice({ id, text, refused = false, onDismiss = () => {}, onMend = null, mending = t("Change"), leaving = refused ? t("Put away") : t("Dismiss") }) {
  const box = document.createElement("div");
  box.className = `notice ${refused ? "refused" : "flagged"}`;
  box.setAttribute("role", "alert");
  const words = document.createElement("span");
  words.textContent = text;
  const button = (label, act) => {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = label;
    made.addEventListener("click", act);
    return made;
  };
  const away = button(leaving, () => {
    box.remove();
    onDismiss(id);
  });
  box.append(words, ...(onMend ? [button(mending, () => onMend(() => box.remove()))] : []), away);
  document.getElementById("notices").append(box);
}
