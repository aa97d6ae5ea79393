// The curve of a record: fetched once, drawn once, repainted when the theme changes or the page goes to paper.
import { embed } from "./figure.js";

const host = document.getElementById("curve");
try {
  const answer = await fetch(host.dataset.figure);
  if (!answer.ok) throw new Error(`status ${answer.status}`);
  const figure = await embed(await answer.json(), host);
  host.dataset.drawn = "";
  for (const when of ["beforeprint", "afterprint"]) window.addEventListener(when, () => figure.paint());
} catch (error) {
  console.error(error);
  const says = document.createElement("p");
  says.className = "notice flagged";
  says.textContent = "The curve could not be loaded. The tables below hold the same batch; load the page again for the curve.";
  host.replaceChildren(says);
}
