// A clock that counts from a time of the server's: <b data-since-ms="…">.
import { Clock, stopwatch } from "../core/clock.js";

const shown = [...document.querySelectorAll("[data-since-ms]")];
if (shown.length) {
  const clock = Clock.onPage();
  await clock.sync();
  const draw = () => {
    for (const element of shown) element.textContent = stopwatch(Math.max(0, (clock.now() - element.dataset.sinceMs) / 1000));
  };
  draw();
  setInterval(draw, 500);
}
