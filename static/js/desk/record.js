// The curve of a record: smoothed, live or both by a switch; and as a table, made on demand.
import { fillTable } from "../core/curve-table.js";
import { CurveFigure } from "../core/figure/curve-figure.js";
import { byId, find } from "../core/dom.js";
import { clockText } from "../core/duration.js";
import { t } from "../core/words.js";
import { bindCurveChoice } from "./curve-choice.js";
import { onCurveTap } from "./curve-tap.js";
import { loadFigure } from "./figure-loader.js";

const figure = await loadFigure(
  byId("curve"),
  t("The curve could not be loaded. Reload the page; the tables below are complete."),
);
const rows = byId("curve-rows", HTMLDetailsElement);
rows.hidden = !figure;
if (figure) {
  const curve = new CurveFigure(figure, { isLive: false });
  const fit = () => curve.fit({ leastS: curve.marks.data.t_s.at(-1) });
  bindCurveChoice(figure, fit);
  figure.onLayout(fit);
  const time = document.getElementById("add-time");
  if (time instanceof HTMLInputElement) onCurveTap(byId("curve"), figure, (timeS) => (time.value = clockText(timeS)));
  const { field, word } = curve.ends.data;
  const channels = [...field].map((id, index) => ({ id, name: word[index] }));
  rows.addEventListener("toggle", () => {
    if (rows.open) fillTable(find(rows, "table", HTMLTableElement), figure.get("live").data, channels);
  });
}
