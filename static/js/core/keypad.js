// A keypad of large keys that types into a field: <div data-keypad="id of the input"> with <button
// data-key="7|.|back|clear">.
import { closest } from "./dom.js";
import { decimal } from "./words.js";

document.addEventListener("click", (event) => {
  const key = closest(event, "[data-key]")?.dataset.key;
  const id = closest(event, "[data-keypad]")?.dataset.keypad;
  const field = id ? document.getElementById(id) : null;
  if (key === undefined || !(field instanceof HTMLInputElement)) return;
  const typed = press(field.value, key);
  if (field.maxLength >= 0 && typed.length > field.maxLength) return;
  field.value = typed;
  field.dispatchEvent(new Event("input", { bubbles: true }));
});

/**
 * The content of a field after a key.
 * @param {string} typed
 * @param {string} key
 */
export function press(typed, key) {
  if (key === "back") return typed.slice(0, -1);
  if (key === "clear") return "";
  if (key === ".") return /[.,]/.test(typed) ? typed : `${typed || "0"}${decimal(".")}`;
  return typed === "0" ? key : typed + key;
}
