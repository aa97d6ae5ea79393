// A figure of a desk page: fetched once, drawn once, recoloured when the theme changes.
import { embed } from "../core/figure/figure.js";

/**
 * Draw the figure at the host's `data-figure`; resolves to the figure, or to null if `sorry` is shown instead.
 * @param {HTMLElement} host
 * @param {string} sorry
 */
export async function loadFigure(host, sorry) {
  try {
    const answer = await fetch(host.dataset.figure ?? "");
    if (!answer.ok) throw new Error(`status ${answer.status}`);
    const figure = await embed(await answer.json(), host);
    // A browser prints the canvas as it is: the print style has to know whether it is drawn for a dark page.
    const mark = () => {
      host.dataset.drawn = getComputedStyle(document.documentElement).colorScheme;
    };
    document.addEventListener("themechange", mark);
    mark();
    return figure;
  } catch (error) {
    console.error(error);
    const note = document.createElement("p");
    note.className = "notice flagged";
    note.textContent = sorry;
    host.replaceChildren(note);
    return null;
  }
}
