// A button that prints the page; with `data-at-once`, an address that ends in #print does so too, once. Charts are
// first drawn for paper, as wide as it is, and get time to render.
import { findAll } from "./dom.js";

const DRAW_MS = 400;
const root = document.documentElement;
const repaint = () => document.dispatchEvent(new CustomEvent("themechange"));

async function print() {
  const { theme } = root.dataset;
  root.dataset.theme = "light";
  root.dataset.paper = "";
  repaint();
  await new Promise((resolve) => setTimeout(resolve, DRAW_MS));
  window.print();
  delete root.dataset.paper;
  if (theme) root.dataset.theme = theme;
  else delete root.dataset.theme;
  repaint();
}

for (const button of findAll(document, "[data-print]")) button.addEventListener("click", print);

if (location.hash === "#print") {
  history.replaceState(history.state, "", location.pathname + location.search); // a reload prints nothing
  if (document.querySelector("[data-print][data-at-once]")) print();
}
