// The curve of a record: fetched once, drawn once, repainted when the theme changes; smoothed, live or both by a switch.
import { embed } from "./figure.js";
import { switchCurves } from "./curves.js";

const host = document.getElementById("curve");
try {
  const answer = await fetch(host.dataset.figure);
  if (!answer.ok) throw new Error(`status ${answer.status}`);
  switchCurves(await embed(await answer.json(), host));
  // A browser prints the canvas as it stands: the print style has to know whether it is drawn for a dark page.
  const mark = () => { host.dataset.drawn = getComputedStyle(document.documentElement).colorScheme; };
  document.addEventListener("themechange", mark);
  mark();
} catch (error) {
  console.error(error);
  const says = document.createElement("p");
  says.className = "notice flagged";
  says.textContent = "The curve could not be loaded. The tables below hold the same batch; load the page again for the curve.";
  host.replaceChildren(says);
}
