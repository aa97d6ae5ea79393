// The far view: only the three numbers and the pad, large. Stored for this tab, since a page may be reloaded in
// mid-roast.
import { t } from "../../core/words.js";

const KEY = "drumside-far";

/** @param {HTMLElement} button */
export function bindFarView(button) {
  const show = (/** @type {boolean} */ far) => {
    document.body.classList.toggle("far", far);
    button.setAttribute("aria-pressed", String(far));
    button.textContent = far ? t("Normal view") : t("Far view");
  };
  button.addEventListener("click", () => {
    const far = !document.body.classList.contains("far");
    show(far);
    try {
      sessionStorage.setItem(KEY, far ? "1" : "");
    } catch {
      // it lasts until the page is left
    }
  });
  try {
    show(Boolean(sessionStorage.getItem(KEY)));
  } catch {
    // use the near view
  }
}
