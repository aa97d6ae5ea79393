// The curves of a comparison: fetched once, drawn once, repainted when the theme changes.
import { embed } from "./figure.js";

const host = document.getElementById("overlay");
try {
  const answer = await fetch(host.dataset.figure);
  if (!answer.ok) throw new Error(`status ${answer.status}`);
  await embed(await answer.json(), host);
  // A browser prints the canvas as it stands: the print style has to know whether it is drawn for a dark page.
  const mark = () => { host.dataset.drawn = getComputedStyle(document.documentElement).colorScheme; };
  document.addEventListener("themechange", mark);
  mark();
} catch (error) {
  console.error(error);
  const says = document.createElement("p");
  says.className = "notice flagged";
  says.textContent = "The curves could not be loaded. What stands out and the tables are below all the same; load the page again for the curves.";
  host.replaceChildren(says);
}
