// Adds a typed check weight to the list of them, so that a phone's keypad of digits is enough.
import { byId } from "../core/dom.js";

const weight = byId("weight", HTMLInputElement);
const weights = byId("weights", HTMLTextAreaElement);

function add() {
  const typed = weight.value.trim();
  if (typed) {
    weights.value = `${weights.value.trim()} ${typed}`.trim();
    weights.dispatchEvent(new Event("input", { bubbles: true }));
    weight.value = "";
  }
  weight.focus();
}

byId("add-weight").addEventListener("click", add);
weight.addEventListener("keydown", (event) => {
  if (event.key !== "Enter") return;
  event.preventDefault();
  add();
});
byId("packing").addEventListener("submit", () => {
  if (weight.value.trim()) add();
});
