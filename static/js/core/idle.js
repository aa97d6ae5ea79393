// Low-priority work: it runs when the changes of a tap or a message are painted and the page is idle.
const LIFTED_MS = 250; // within this time a finger lifts and the changes of its click are painted
const REST_MS = 1500; // from the load of a page until its charts are drawn, on a slow phone
const SETTLED_WITHIN_MS = 3000; // the longest time that a page which is never idle delays work after that

let touchedAt = -Infinity;
const touched = () => {
  touchedAt = performance.now();
};
for (const type of ["pointerdown", "keydown"]) addEventListener(type, touched, { capture: true, passive: true });

/** @type {(work: () => void, options: { timeout: number }) => void} */
const onIdle =
  "requestIdleCallback" in globalThis
    ? (work, options) => requestIdleCallback(work, options)
    : (work) => requestAnimationFrame(() => setTimeout(work)); // not every browser reports idle time

/**
 * Do `work` after the next paint, when the page is idle and no finger has just come down; after `withinMs` at the
 * latest.
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

/**
 * Do `work` once the page has loaded, has had time to draw its charts, and is idle: work that would compete with what
 * the person waits for.
 * @param {() => void} work
 */
export function whenSettled(work) {
  const later = () => setTimeout(() => whenIdle(work, SETTLED_WITHIN_MS), REST_MS);
  if (document.readyState === "complete") later();
  else addEventListener("load", later, { once: true });
}
