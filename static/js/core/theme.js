// The device's theme, set before the first paint to avoid a flash. A classic script in the head on purpose.
(() => {
  const KEY = "drumside-theme";
  const root = document.documentElement;
  const paint = (/** @type {string} */ choice) => {
    if (choice) root.dataset.theme = choice;
    else delete root.dataset.theme;
  };
  const stored = () => {
    try {
      const choice = localStorage.getItem(KEY) ?? "";
      return ["light", "dark", "glare"].includes(choice) ? choice : "";
    } catch {
      return ""; // storage may be blocked; then the system's theme applies
    }
  };
  // The chart redraws with its own colours: it listens for `themechange` on the document.
  const announce = () => document.dispatchEvent(new CustomEvent("themechange"));
  const mark = () => {
    for (const button of document.querySelectorAll("[data-theme-choice]")) {
      button.setAttribute("aria-pressed", String(button.getAttribute("data-theme-choice") === stored()));
    }
  };
  const follow = () => {
    paint(stored());
    mark();
    announce();
  };

  paint(stored());
  document.addEventListener("DOMContentLoaded", mark);
  document.addEventListener("click", ({ target }) => {
    const button = target instanceof Element ? target.closest("[data-theme-choice]") : null;
    const choice = button?.getAttribute("data-theme-choice");
    if (choice === null || choice === undefined) return;
    try {
      localStorage.setItem(KEY, choice);
    } catch {
      // it lasts as long as this page
    }
    paint(choice);
    mark();
    announce();
  });
  window.addEventListener("storage", ({ key }) => {
    if (key === KEY) follow();
  });
  for (const query of ["(prefers-color-scheme: dark)", "(prefers-contrast: more)"]) {
    matchMedia(query).addEventListener("change", announce);
  }
})();
