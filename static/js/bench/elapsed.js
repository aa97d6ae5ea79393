// A clock that counts from a server time: <b data-since-ms="…">.
import { Clock } from "../core/clock.js";
import { findAll } from "../core/dom.js";
import { clockText } from "../core/duration.js";

const clocks = findAll(document, "[data-since-ms]");
if (clocks.length) {
  const clock = Clock.onPage();
  await clock.sync();
  const draw = () => {
    for (const element of clocks) {
      const sinceMs = Number(element.dataset.sinceMs);
      element.textContent = clockText(Math.max(0, (clock.now() - sinceMs) / 1000));
    }
  };
  draw();
  setInterval(draw, 500);
}
