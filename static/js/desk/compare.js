// The curves of a comparison.
import { byId } from "../core/dom.js";
import { spaceTicks } from "../core/figure/ticks.js";
import { t } from "../core/words.js";
import { loadFigure } from "./figure-loader.js";

const figure = await loadFigure(
  byId("overlay"),
  t("The curves could not be loaded. Reload the page; the tables below are complete."),
);
figure?.onLayout(() => spaceTicks(figure));
