// The curve of a record: smoothed, live or both by a switch.
import { switchCurves } from "./curves.js";
import { drawn } from "./drawn.js";
import { t } from "./words.js";

const figure = await drawn(
  document.getElementById("curve"),
  t("The curve could not be loaded. The tables below hold the same batch; load the page again for the curve."),
);
if (figure) switchCurves(figure);
