// The numbers of Today: where no newer ones come they are greyed, and how old they are stands in place of the clock.
import { ago } from "../core/duration.js";
import { t } from "../core/words.js";

const OLD_MS = 6000; // they come every two seconds
const LOOK_MS = 1000;

for (const inner of document.querySelectorAll(".now-inner")) {
  let heardMs = Number(document.documentElement.dataset.keptMs) || Date.now();
  inner.addEventListener("htmx:afterSwap", () => {
    heardMs = Date.now();
    inner.classList.remove("old");
  });
  setInterval(() => {
    if (Date.now() - heardMs <= OLD_MS) return;
    inner.classList.add("old");
    inner.querySelector(".quiet").textContent = `▲ ${t("{time} old", { time: ago(heardMs) })}`;
  }, LOOK_MS);
}
