// Notices and refusals in <div id="notices" class="notices">: each stays until somebody has handled it.
import { byId } from "./dom.js";
import { t } from "./words.js";

/**
 * @typedef {object} Notice
 * @property {string} text
 * @property {boolean} [refused]
 * @property {() => void} [onDismiss]
 * @property {(close: () => void) => void} [onAction] action of a second button; `close` removes the notice
 * @property {string} [action] label of that button
 * @property {string} [dismiss] label of the button that dismisses it
 */

/** @param {Notice} notice */
export function notice({ text, refused = false, onDismiss, onAction, action, dismiss }) {
  const box = document.createElement("div");
  box.className = `notice ${refused ? "refused" : "flagged"}`;
  box.setAttribute("role", "alert");
  const words = document.createElement("span");
  words.textContent = text;
  const button = (/** @type {string} */ label, /** @type {() => void} */ act) => {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = label;
    made.addEventListener("click", act);
    return made;
  };
  box.append(words);
  if (onAction) box.append(button(action ?? t("Change"), () => onAction(() => box.remove())));
  const away = dismiss ?? (refused ? t("Remove") : t("Dismiss"));
  box.append(
    button(away, () => {
      box.remove();
      onDismiss?.();
    }),
  );
  byId("notices").append(box);
}
