// A button that prints the page: the print style sheets leave only what belongs on paper.
for (const button of document.querySelectorAll("[data-print]")) button.addEventListener("click", () => window.print());
