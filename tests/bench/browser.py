"""A phone in the system's Chromium: opens pages, taps, and measures the load of the main thread."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests.chromium import launch

# Runs in the page. A tap is recorded at the time of its touch; its answer is recorded when the frame that contains it
# has been handed over: in a task after the next animation frame. Times count from 1970, so that pages compare.
ARM = """([pad, answer]) => {
  const bench = (globalThis.bench = { tapped: null, answered: null });
  const epoch = (at) => performance.timeOrigin + at;
  addEventListener('pointerdown', (event) => {
    if (event.target.closest(pad)) { bench.tapped = epoch(event.timeStamp); bench.answered = null; }
  }, true);
  new MutationObserver(() => {
    if (bench.answered !== null || bench.waits) return;
    bench.waits = true;
    requestAnimationFrame(() => setTimeout(() => { bench.answered = epoch(performance.now()); bench.waits = false; }));
  }).observe(document.querySelector(answer), { childList: true, characterData: true, subtree: true });
}"""


@contextmanager
def chromium() -> Iterator[Browser]:
    """The system's Chromium, headless."""
    with sync_playwright() as playwright:
        browser = launch(playwright)
        try:
            yield browser
        finally:
            browser.close()


def phone(browser: Browser) -> BrowserContext:
    """A fresh phone of 390×844 points with touch."""
    return browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)


def wait_for(page: Page, expression: str, within_s: float = 15.0) -> Any:  # noqa: ANN401, whatever the page says
    """Poll the page until an expression is true; Playwright's own waiting needs eval, which the page forbids."""
    until_s = time.perf_counter() + within_s
    while not (found := page.evaluate(expression)):
        if time.perf_counter() > until_s:
            raise RuntimeError(f"{page.url} never came to: {expression}")
        time.sleep(0.01)
    return found


def arm(page: Page, *, pad: str, answer: str) -> None:
    """Make the page record taps on ``pad`` and changes of ``answer``, both CSS selectors."""
    page.evaluate(ARM, [pad, answer])


def busy_share(page: Page, seconds: float, *, slowed: int) -> float:
    """Share of the time in which the page's main thread was busy, on a processor ``slowed`` times."""
    session = page.context.new_cdp_session(page)
    session.send("Performance.enable", {"timeDomain": "timeTicks"})
    session.send("Emulation.setCPUThrottlingRate", {"rate": slowed})
    page.wait_for_timeout(2000)  # the cost of the change itself
    before, page_s = _metrics(session), time.perf_counter()
    page.wait_for_timeout(seconds * 1000)
    after, passed_s = _metrics(session), time.perf_counter() - page_s
    session.send("Emulation.setCPUThrottlingRate", {"rate": 1})
    return (after["TaskDuration"] - before["TaskDuration"]) / passed_s


def _metrics(session: Any) -> dict[str, float]:  # noqa: ANN401, Playwright's CDPSession
    return {m["name"]: m["value"] for m in session.send("Performance.getMetrics")["metrics"]}
