// Keys, a foot pedal, a page-turner: Space and Enter tap the pad, arrows and page keys set the controls, Escape undoes
// the newest entry, ? lists the keys. Typing in a field and a button reached by Tab keep their own keys.
/** @type {Record<string, number>} */
const STEPS = { ArrowUp: 1, PageUp: 1, ArrowDown: -1, PageDown: -1 };
/** @type {Record<string, number>} */
const TURNS = { ArrowRight: 1, ArrowLeft: -1 };
const TYPED = "input, textarea, select, [contenteditable]";
const PRESSED = "button, a[href], summary, [role=switch]";

/**
 * @param {object} parts
 * @param {import("../sheets/sheets.js").Sheets} parts.sheets
 * @param {import("./pad.js").Pad} parts.pad
 * @param {import("./controls.js").Controls} parts.controls
 * @param {import("./feedback.js").Feedback} parts.feedback
 */
export function bindKeyboard({ sheets, pad, controls, feedback }) {
  let isTabbing = false; // whether the last focus change was by Tab: focus set by a finger claims no key
  document.addEventListener(
    "pointerdown",
    () => {
      isTabbing = false;
    },
    { capture: true },
  );

  /** @type {Record<string, (event: KeyboardEvent) => void>} */
  const actions = {
    "?": ({ timeStamp }) => sheets.open("screen", timeStamp),
    Escape: () => feedback.undoShown(),
    " ": ({ timeStamp }) => pad.press(timeStamp),
    Enter: ({ timeStamp }) => pad.press(timeStamp),
  };
  for (const [key, sign] of Object.entries(STEPS)) {
    actions[key] = () => feedback.showMessage(controls.stepChosen(sign));
  }
  for (const [key, sign] of Object.entries(TURNS)) {
    actions[key] = () => feedback.showMessage(controls.chooseNext(document.dir === "rtl" ? -sign : sign));
  }

  const inSheet = (/** @type {KeyboardEvent} */ event) => {
    if (!sheets.element("control").open || !STEPS[event.key]) return;
    event.preventDefault();
    if (!event.repeat) controls.step(STEPS[event.key]);
  };

  document.addEventListener("keydown", (event) => {
    const { key, repeat } = event;
    const target = /** @type {Element} */ (event.target);
    if (key === "Tab") isTabbing = true;
    if (event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey || target.closest(TYPED)) return;
    if (document.querySelector("dialog[open]")) {
      inSheet(event);
      return;
    }
    if (!actions[key]) return;
    const own = target.closest(PRESSED);
    if ((key === " " || key === "Enter") && own && own !== pad.button && isTabbing) return; // the button's own key
    event.preventDefault(); // also prevents the pad's own click: a key counts once, and not again while it is held
    if (!repeat) actions[key](event);
  });
  // A button responds when Space is released: the pad's press has been counted by then.
  document.addEventListener("keyup", (event) => {
    if (event.key !== " " || isTabbing || document.querySelector("dialog[open]")) return;
    if (/** @type {Element} */ (event.target).closest(PRESSED)) event.preventDefault();
  });
}
