"""How soon after its opening a page takes a tap: from navigation until a tap on the pad is answered by an echo."""

import statistics
import time

from playwright.sync_api import Browser

from tests.bench.browser import chromium, phone, wait_for
from tests.bench.drumside import PAGE, Roast
from tests.bench.report import Figure
from tests.bench.running import Running

LOADS = 5
ECHO = ", ".join(f"#echo-state[data-state={reached}]" for reached in ("pressed", "saved", "sent"))
# Runs before any script of the page: a finger that comes down on the pad again and again until something says so. The
# time is that of the navigation's own clock, when the frame that holds the echo has been handed over.
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
    """Both pages in turns, each opened by a phone that never saw it, and then once more."""
    found: dict[str, list[tuple[float, float]]] = {"ours": [], "bare": []}
    with chromium() as browser:
        for load in range(1 + LOADS):  # the first of them is the server's first, too, and does not count
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
    """Milliseconds from navigation to the first echo: of a page that is new to the phone, and of the same again."""
    context = phone(browser)
    took = []
    for _ in range(2):
        page = context.new_page()
        page.add_init_script(FINGER % {"echo": echo})
        page.goto(url, wait_until="commit")
        took.append(wait_for(page, "globalThis.bench?.echoed"))
        time.sleep(1)  # what else a first visit loads
        page.close()
    context.close()
    return took[0], took[1]
