// The person's theme, set before the first paint so that nothing flashes. A classic script in the head on purpose.
(() => {
  const KEY = "drumside-theme";
  const root = document.documentElement;
  const paint = (choice) => {
    if (choice) root.dataset.theme = choice;
    else delete root.dataset.theme;
  };
  const kept = () => {
    try {
      const choice = localStorage.getItem(KEY);
      return ["light", "dark", "glare"].includes(choice) ? choice : "";
    } catch {
      return ""; // storage may be shut off; the system's theme is right then
    }
  };
  // The chart has colours of its own to redraw: it listens for `themechange` on the document.
  const tell = () => document.dispatchEvent(new CustomEvent("themechange"));
  const mark = () => {
    for (const button of document.querySelectorAll("[data-theme-choice]")) {
      button.setAttribute("aria-pressed", String(button.dataset.themeChoice === kept()));
    }
  };
  const follow = () => { paint(kept()); mark(); tell(); };

  paint(kept());
  document.addEventListener("DOMContentLoaded", mark);
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-theme-choice]");
    if (!button) return;
    try { localStorage.setItem(KEY, button.dataset.themeChoice); } catch { /* kept for this page only */ }
    paint(button.dataset.themeChoice);
    mark();
    tell();
  });
  window.addEventListener("storage", (event) => { if (event.key === KEY) follow(); });
  for (const query of ["(prefers-color-scheme: dark)", "(prefers-contrast: more)"]) {
    matchMedia(query).addEventListener("change", tell);
  }
})();
