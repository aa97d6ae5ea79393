// A button that prints the page. Charts are painted for paper first, as wide as it is, and get the time to draw themselves.
const DRAWN_MS = 400;
const root = document.documentElement;

async function print() {
  const theme = root.dataset.theme;
  root.dataset.theme = "light";
  root.dataset.paper = "";
  document.dispatchEvent(new CustomEvent("themechange"));
  await new Promise((done) => setTimeout(done, DRAWN_MS));
  window.print();
  delete root.dataset.paper;
  if (theme) root.dataset.theme = theme;
  else delete root.dataset.theme;
  document.dispatchEvent(new CustomEvent("themechange"));
}

for (const button of document.querySelectorAll("[data-print]")) button.addEventListener("click", print);
