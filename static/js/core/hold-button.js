// A button that acts when it is held: its fill shows the progress. By finger, mouse, or Space and Enter.
const HOLD_MS = 1500;

/**
 * @param {HTMLElement} button
 * @param {() => void} act
 */
export function bindHold(button, act) {
  let frame = 0;
  const show = (/** @type {number} */ share) => button.style.setProperty("--held", String(share));
  const stop = () => {
    cancelAnimationFrame(frame);
    frame = 0;
    show(0);
  };
  const start = () => {
    if (frame) return;
    const from = performance.now();
    const grow = () => {
      const share = Math.min(1, (performance.now() - from) / HOLD_MS);
      show(share);
      if (share < 1) {
        frame = requestAnimationFrame(grow);
        return;
      }
      stop();
      act();
    };
    frame = requestAnimationFrame(grow);
  };
  const isKey = (/** @type {KeyboardEvent} */ { key }) => key === " " || key === "Enter";

  button.addEventListener("pointerdown", (event) => event.button === 0 && start());
  for (const end of ["pointerup", "pointerleave", "pointercancel", "blur"]) button.addEventListener(end, stop);
  button.addEventListener("keydown", (event) => {
    if (!isKey(event)) return;
    event.preventDefault();
    if (!event.repeat) start();
  });
  button.addEventListener("keyup", (event) => isKey(event) && stop());
  button.addEventListener("contextmenu", (event) => event.preventDefault()); // a long press opens this menu on a phone
}
