// A button that is on or off, kept for this device.
export function switched(button, key, otherwise = true) {
  let on = otherwise;
  try {
    on = (localStorage.getItem(key) ?? (otherwise ? "on" : "off")) === "on";
  } catch { /* storage is shut off: it holds for this page */ }
  const show = () => button.setAttribute("aria-checked", on);
  button.addEventListener("click", () => {
    on = !on;
    show();
    try {
      localStorage.setItem(key, on ? "on" : "off");
    } catch { /* as above */ }
  });
  show();
  return () => on;
}
