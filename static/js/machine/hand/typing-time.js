// A reading typed in by hand has the time of its first key: <form id="reading" data-now-ms> with a field at_ms.
import { Clock } from "../../core/clock.js";

const form = document.getElementById("reading");
const clock = Clock.onPage(Number(form.dataset.nowMs));
clock.keep();

form.elements.value.addEventListener("input", () => {
  const at = form.elements.at_ms;
  if (!form.elements.value.value) at.value = "";
  else if (!at.value) at.value = String(Math.round(clock.now()));
});
