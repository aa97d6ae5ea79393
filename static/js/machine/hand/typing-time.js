// A typed reading gets the time of its first key: <form id="reading" data-now-ms> with a field at_ms.
import { Clock } from "../../core/clock.js";
import { byId, find } from "../../core/dom.js";

const form = byId("reading", HTMLFormElement);
const value = find(form, "[name=value]", HTMLInputElement);
const at = find(form, "[name=at_ms]", HTMLInputElement);
const clock = Clock.onPage(Number(form.dataset.nowMs));
clock.keepSynced();

value.addEventListener("input", () => {
  if (!value.value) at.value = "";
  else if (!at.value) at.value = String(Math.round(clock.now()));
});
