// A tap on a drawn curve, as a time from charge.

/** @param {any} view */
const panelsOf = (view) => [...(view.frame?.x_scale ? [view] : []), ...(view.child_views ?? []).flatMap(panelsOf)];

/**
 * Call `act` with the time from charge at which a panel of the figure is tapped. [s]
 * @param {HTMLElement} host
 * @param {import("../core/figure/figure.js").Figure} figure
 * @param {(timeS: number) => void} act
 */
export function onCurveTap(host, figure, act) {
  host.addEventListener("click", ({ clientX, clientY }) => {
    const roots = [...Bokeh.index].filter((view) => view.model?.document === figure.document);
    for (const { el, frame } of roots.flatMap(panelsOf)) {
      const { left, top, bottom } = el.getBoundingClientRect();
      const isInside = frame.bbox.left <= clientX - left && clientX - left <= frame.bbox.right;
      if (isInside && top <= clientY && clientY < bottom) {
        act(frame.x_scale.invert(clientX - left));
        return;
      }
    }
  });
}
