// A toggle button whose state this device stores.
import { loadText, storeText } from "./storage.js";

/**
 * Make a button toggle; returns a function that tells whether it is on.
 * @param {HTMLElement} button
 * @param {string} key
 */
export function bindToggle(button, key, initially = true) {
  let on = (loadText(key) ?? (initially ? "on" : "off")) === "on";
  const show = () => button.setAttribute("aria-checked", String(on));
  button.addEventListener("click", () => {
    on = !on;
    show();
    storeText(key, on ? "on" : "off");
  });
  show();
  return () => on;
}
