// Ticks at a round distance at which their labels do not overlap, on any figure.
import { tickStep } from "./axes.js";
import { textPx } from "./text-width.js";

const [LEAST_PX, MOST_PX, TICKS] = [18, 44, 5]; // distance of the ticks of vertical axes, and about how many there are
const MINUTE_PX = 16; // between the labels of the time axis
const CUT_PX = 8; // half a label: closer to the upper end of an axis it would be cut off

/**
 * Show ticks of an axis at a round distance, of all those that the server gave labels. An axis whose labels are not
 * plain numbers keeps its ticks.
 * @param {any} axis
 * @param {{ start: number, end: number }} range
 * @param {number} sizePx
 * @param {number} leastPx
 */
function space(axis, range, sizePx, leastPx) {
  const all = [...axis.major_label_overrides].map(([at, text]) => ({ at, value: Number(text.replace("−", "-")) }));
  if (all.length < 2 || all.some(({ value }) => Number.isNaN(value))) return;
  const spanPx = sizePx / (range.end - range.start);
  const unit = (all[1].at - all[0].at) / (all[1].value - all[0].value);
  const step = tickStep(unit * spanPx, leastPx);
  const lastAt = range.end - CUT_PX / spanPx;
  const ticks = all.filter(({ at, value }) => value % step === 0 && at <= lastAt).map(({ at }) => at);
  if (ticks.join() !== [...axis.ticker.ticks].join()) axis.ticker.ticks = ticks;
}

/**
 * Space the ticks of the panels of temperatures and rates.
 * @param {import("./figure.js").Figure} figure
 */
export function spaceTicks(figure) {
  for (const panel of figure.panels) {
    const { inner_width: widthPx, inner_height: heightPx, x_range: across, y_range: up } = panel;
    if (!widthPx) continue; // not laid out yet
    space(panel.below[0], across, widthPx, textPx("10") + MINUTE_PX);
    space(panel.left[0], up, heightPx, Math.min(MOST_PX, Math.max(LEAST_PX, heightPx / TICKS)));
  }
}
