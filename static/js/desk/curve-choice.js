// Which curve a record draws: smoothed after the drop, as it was live, or both on each other. Remembered on this device.
const KEY = "drumside-curve";
const SHOWN = { smooth: ["smooth"], live: ["live"], both: ["smooth", "both"] };

const kept = () => {
  try {
    const choice = localStorage.getItem(KEY);
    return Object.hasOwn(SHOWN, choice) ? choice : "smooth";
  } catch {
    return "smooth"; // storage may be shut off
  }
};

/** Let the buttons of the page choose among the lines whose names begin with “smooth ”, “live ” or “both ”. */
export function switchCurves(figure) {
  const buttons = [...document.querySelectorAll("[data-curve]")];
  if (!buttons.length) return; // a batch that is not over has its live curve alone
  const lines = [...figure.document.all_models].filter((model) => /^(smooth|live|both) /.test(model.name ?? ""));
  const show = (choice) => {
    for (const line of lines) line.visible = SHOWN[choice].includes(line.name.split(" ", 1)[0]);
    for (const button of buttons) {
      const chosen = button.dataset.curve === choice;
      button.setAttribute("aria-pressed", String(chosen));
      if (chosen) document.getElementById("curve-says").textContent = button.dataset.says;
    }
  };
  for (const button of buttons) {
    button.addEventListener("click", () => {
      show(button.dataset.curve);
      try { localStorage.setItem(KEY, button.dataset.curve); } catch { /* kept for this page only */ }
    });
  }
  show(kept());
}
