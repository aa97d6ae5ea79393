// The numbers of Today: stale ones are greyed out, and their age replaces the clock.
import { find, findAll } from "../core/dom.js";
import { ageText } from "../core/duration.js";
import { t } from "../core/words.js";

const OLD_MS = 6000; // new numbers come every two seconds
const LOOK_MS = 1000;

for (const numbers of findAll(document, ".now-inner")) {
  let heardMs = Number(document.documentElement.dataset.keptMs) || Date.now();
  numbers.addEventListener("htmx:afterSwap", () => {
    heardMs = Date.now();
    numbers.classList.remove("old");
  });
  setInterval(() => {
    if (Date.now() - heardMs <= OLD_MS) return;
    numbers.classList.add("old");
    find(numbers, ".quiet").textContent = `▲ ${t("Readings {time} old", { time: ageText(heardMs) })}`;
  }, LOOK_MS);
}
