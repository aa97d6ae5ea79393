// The curve of a record: smoothed, live or both by a switch; and in rows, made when they are asked for.
import { switchCurves } from "./curve-choice.js";
import { fillTable } from "../core/curve-table.js";
import { drawn } from "./figure-loader.js";
import { t } from "../core/words.js";

const figure = await drawn(
  document.getElementById("curve"),
  t("The curve could not be loaded. The tables below hold the same batch; load the page again for the curve."),
);
const rows = document.getElementById("curve-rows");
rows.hidden = !figure;
if (figure) {
  switchCurves(figure);
  const { channel, text } = figure.get("ends").data;
  const channels = [...channel].map((id, index) => ({ id, name: text[index] }));
  rows.addEventListener("toggle", () => rows.open && fillTable(rows.querySelector("table"), figure.get("live").data, channels));
}
