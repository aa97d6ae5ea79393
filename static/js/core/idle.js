// Work that may wait for a finger: it is done when what a tap or a message changed is painted, and the page is idle.
const LIFTED_MS = 250; // a finger that came down lifts, and what its click changes is painted, within this time

let touchedAt = -Infinity;
const touched = () => {
  touchedAt = performance.now();
};
for (const type of ["pointerdown", "keydown"]) addEventListener(type, touched, { capture: true, passive: true });

/** @type {(work: () => void, options: { timeout: number }) => void} */
const onIdle =
  "requestIdleCallback" in globalThis
    ? (work, options) => requestIdleCallback(work, options)
    : (work) => requestAnimationFrame(() => setTimeout(work)); // not every browser tells when it is idle

/**
 * Do `work` after the next paint, when the page is idle and no finger has just come down; at the latest in `withinMs`.
 * @param {() => void} work
 * @param {number} withinMs
 */
export function whenIdle(work, withinMs) {
  const until = performance.now() + withinMs;
  const left = () => Math.max(1, until - performance.now());
  const look = () => {
    const waitMs = Math.min(touchedAt + LIFTED_MS, until) - performance.now();
    if (waitMs > 0) setTimeout(() => onIdle(look, { timeout: left() }), waitMs);
    else work();
  };
  requestAnimationFrame(() => onIdle(look, { timeout: left() }));
}
