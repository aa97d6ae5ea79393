// Keys, a foot pedal, a page-turner: Space and Enter slap the pad, arrows and page keys set the controls, Escape takes back
// what was just said, ? tells all this. What is typed is left alone, and so is a button that Tab has led to.
const STEPS = { ArrowUp: 1, PageUp: 1, ArrowDown: -1, PageDown: -1 };
const TURNS = { ArrowRight: 1, ArrowLeft: -1 };
const TYPED = "input, textarea, select, [contenteditable]";
const PRESSED = "button, a[href], summary, [role=switch]";

export function bindKeys({ sheets, pad, controls, echo }) {
  let walked = false; // whether Tab was used last, and not a finger: what a finger left behind has no claim to a key
  document.addEventListener("pointerdown", () => { walked = false; }, { capture: true });

  const acts = {
    "?": () => sheets.open("screen"),
    Escape: () => echo.takeBack(),
    " ": ({ timeStamp }) => pad.press(timeStamp),
    Enter: ({ timeStamp }) => pad.press(timeStamp),
  };
  for (const [key, sign] of Object.entries(STEPS)) acts[key] = () => echo.remark(controls.nudge(sign));
  for (const [key, sign] of Object.entries(TURNS)) acts[key] = () => echo.remark(controls.turn(document.dir === "rtl" ? -sign : sign));

  const inSheet = (event) => {
    if (!sheets.element("control").open || !STEPS[event.key]) return;
    event.preventDefault();
    if (!event.repeat) controls.step(STEPS[event.key]);
  };

  document.addEventListener("keydown", (event) => {
    const { key, target, repeat } = event;
    if (key === "Tab") walked = true;
    if (event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey || target.closest(TYPED)) return;
    if (document.querySelector("dialog[open]")) return void inSheet(event);
    if (!acts[key]) return;
    const own = target.closest(PRESSED);
    if ((key === " " || key === "Enter") && own && own !== pad.button && walked) return; // the button's own key
    event.preventDefault(); // the pad's own click, too: a key counts once, and not again while it is held
    if (!repeat) acts[key](event);
  });
  // A button answers Space when it is let go: that of the pad has been counted by then.
  document.addEventListener("keyup", (event) => {
    if (event.key === " " && !document.querySelector("dialog[open]") && !walked && event.target.closest(PRESSED)) event.preventDefault();
  });
}
