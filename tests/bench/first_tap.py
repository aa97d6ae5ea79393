"""Time from navigation until a tap on the pad is answered by an echo."""

import statistics
import time

from playwright.sync_api import Browser

from tests.bench.browser import chromium, phone, wait_for
from tests.bench.drumside import PAGE, Roast
from tests.bench.report import Figure
from tests.bench.running import Running

LOADS = 5
ECHO = ", ".join(f"#echo-state[data-state={reached}]" for reached in ("pressed", "saved", "sent"))
# Runs before any script of the page: a touch on the pad, repeated until an echo appears. The time is from the
# navigation's own clock, when the frame with the echo has been handed over.
FINGER = """(() => {
  const bench = (globalThis.bench = { echoed: null });
  const finger = setInterval(() => {
    if (document.querySelector('%(echo)s')) {
      clearInterval(finger);
      requestAnimationFrame(() => setTimeout(() => { bench.echoed = performance.now(); }));
      return;
    }
    const pad = document.getElementById('pad');
    pad?.dispatchEvent(new PointerEvent('pointerdown', { bubbles: true, button: 0, isPrimary: true }));
  }, 4);
})()"""


def measure(ours: Running, bare: Running) -> list[Figure]:
    """Both pages in turns, each opened by a fresh phone, and then once more."""
    found: dict[str, list[tuple[float, float]]] = {"ours": [], "bare": []}
    with chromium() as browser:
        for load in range(1 + LOADS):  # the first is also the server's first and does not count
            with Roast(ours.port, 120):
                ours_ms = _opened(browser, ours.url + PAGE, ECHO)
            bare_ms = _opened(browser, bare.url + "/button", "#echo:not(:empty)")
            if load:
                found["ours"].append(ours_ms)
                found["bare"].append(bare_ms)
    figures = []
    for place, name in enumerate(("first tap possible, page never seen", "first tap possible, page opened again")):
        ours_ms, bare_ms = (statistics.median(times[place] for times in found[who]) for who in ("ours", "bare"))
        bound = "≤ 1000 ms" if place == 0 else ""
        figures.append(Figure(name, ours_ms, "ms", bare_ms, "bare page with a button", bound))
    return figures


def _opened(browser: Browser, url: str, echo: str) -> tuple[float, float]:
    """Milliseconds from navigation to the first echo: of a page new to the phone, and of the same page again."""
    context = phone(browser)
    took = []
    for _ in range(2):
        page = context.new_page()
        page.add_init_script(FINGER % {"echo": echo})
        page.goto(url, wait_until="commit")
        took.append(wait_for(page, "globalThis.bench?.echoed"))
        time.sleep(1)  # other requests of a first visit
        page.close()
    context.close()
    return took[0], took[1]
