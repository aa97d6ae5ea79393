// A button that acts when it is held: its fill shows how far it is. By finger, mouse, or Space and Enter.
const HOLD_MS = 1500;

export function bindHold(button, act) {
  let frame = 0;
  const show = (part) => button.style.setProperty("--held", part);
  const stop = () => {
    cancelAnimationFrame(frame);
    frame = 0;
    show(0);
  };
  const start = () => {
    if (frame) return;
    const from = performance.now();
    const grow = () => {
      const part = Math.min(1, (performance.now() - from) / HOLD_MS);
      show(part);
      if (part < 1) return void (frame = requestAnimationFrame(grow));
      stop();
      act();
    };
    frame = requestAnimationFrame(grow);
  };
  const isKey = ({ key }) => key === " " || key === "Enter";

  button.addEventListener("pointerdown", (event) => event.button === 0 && start());
  for (const end of ["pointerup", "pointerleave", "pointercancel", "blur"]) button.addEventListener(end, stop);
  button.addEventListener("keydown", (event) => {
    if (!isKey(event)) return;
    event.preventDefault();
    if (!event.repeat) start();
  });
  button.addEventListener("keyup", (event) => isKey(event) && stop());
  button.addEventListener("contextmenu", (event) => event.preventDefault()); // what a long press brings on a phone
}
