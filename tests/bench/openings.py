"""How soon pages are of use after navigation, and how much their parts shift meanwhile."""

import statistics

from playwright.sync_api import Browser

from tests.bench.browser import chromium, phone, wait_for
from tests.bench.drumside import PAGE, Roast
from tests.bench.report import Figure
from tests.bench.running import Running, get

LOADS = 5
SETTLED_MS = 1500
# Runs before any script of the page: the time of the first frame in which the page is of use, and the sum of its layout
# shifts (https://web.dev/articles/cls, here without its windows of time, so never less).
WATCH = """(() => {
  const bench = (globalThis.bench = { usefulMs: null, shift: 0 });
  new PerformanceObserver((list) => {
    for (const entry of list.getEntries()) if (!entry.hadRecentInput) bench.shift += entry.value;
  }).observe({ type: 'layout-shift', buffered: true });
  const look = () => {
    if (%s) bench.usefulMs = performance.now();
    else requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
})()"""
MOVING = "/[0-9]/.test(document.getElementById('temp')?.textContent ?? '')"
CHART = "document.querySelector('#curve[data-drawn]')"
BARE_CHART = "globalThis.Bokeh?.documents?.length"
LISTED = "document.querySelector('.now')"


def measure(ours: Running, bare: Running) -> list[Figure]:
    """The live page, a record and Today, each by fresh phones; the bare page draws a chart of the same size."""
    with chromium() as browser:
        with Roast(ours.port, 600) as roast:
            live_ms, live_shift = _opened(browser, ours.url + PAGE, MOVING)
            code = get(roast.connection, "/api/batches?size=1")["batches"][0]["code"]
        record_ms, record_shift = _opened(browser, f"{ours.url}/batches/{code}", CHART)
        today_ms, today_shift = _opened(browser, ours.url + "/", LISTED)
        bare_ms, _ = _opened(browser, bare.url + "/chart?width=390&height=420", BARE_CHART)
    return [
        Figure("live page with moving numbers", live_ms, "ms", bare_ms, "bare page with a chart", "≤ 1000 ms"),
        Figure("record with its chart", record_ms, "ms", bare_ms, "bare page with a chart", "≤ 1200 ms"),
        Figure("Today with the machine", today_ms, "ms"),
        Figure("largest layout shift of the three", max(live_shift, record_shift, today_shift), "", bound="≤ 0.02"),
    ]


def _opened(browser: Browser, url: str, useful: str) -> tuple[float, float]:
    """Median time until a page new to the phone is of use, and the largest shift. [ms]"""
    found: list[tuple[float, float]] = []
    for _ in range(1 + LOADS):  # the first is also the server's first and does not count
        context = phone(browser)
        page = context.new_page()
        page.add_init_script(WATCH % useful)
        page.goto(url, wait_until="commit")
        useful_ms = wait_for(page, "globalThis.bench?.usefulMs")
        page.wait_for_timeout(SETTLED_MS)
        found.append((useful_ms, page.evaluate("bench.shift")))
        context.close()
    return statistics.median(ms for ms, _ in found[1:]), max(shift for _, shift in found)
