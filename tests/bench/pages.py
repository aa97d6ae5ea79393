"""Response times in a phone's browser: the echo of a tap, the tap on another page, and the load of the main thread."""

import time
from collections.abc import Callable

from playwright.sync_api import Browser, Page

from tests.bench.browser import arm, busy_share, chromium, phone, wait_for
from tests.bench.drumside import PAGE, Roast
from tests.bench.report import Figure, quantile
from tests.bench.roast import MINUTE_15_S
from tests.bench.running import Running

TAPS = 12
ROUNDS = 2
ROUND_S = 12.0
SLOWED = 4

_SIZE = "(({ clientWidth, clientHeight }) => [clientWidth, clientHeight])(document.getElementById('curves'))"
_DRAWN = """Boolean(globalThis.Bokeh?.documents.at(-1)?.get_model_by_name('live'))
  && !document.getElementById('pad').hidden"""


def measure(ours: Running, bare: Running) -> list[Figure]:
    """Both pages of both servers in one browser, one phone each."""
    with chromium() as browser:
        return [*_taps(browser, ours, bare), *_busy(browser, ours, bare)]


def _taps(browser: Browser, ours: Running, bare: Running) -> list[Figure]:
    ready = "document.body.dataset.ready === 'yes'"
    own_floor, other_floor = _tap_on(browser, bare.url + "/button", ready, "#echo", "#echo", lambda _: None)
    with Roast(ours.port, 120):
        own, other = _tap_on(browser, ours.url + PAGE, _DRAWN, "#echo", "#pad-next", _undo)
    own_name, other_name, button = "tap to echo on the same page", "tap to a second page", "bare page with a button"
    return [
        Figure(f"{own_name}, p50", quantile(own, 0.5), "ms", quantile(own_floor, 0.5), button),
        Figure(f"{own_name}, p95", quantile(own, 0.95), "ms", quantile(own_floor, 0.95), button),
        Figure(f"{other_name}, p50", quantile(other, 0.5), "ms", quantile(other_floor, 0.5), button),
        Figure(f"{other_name}, p95", quantile(other, 0.95), "ms", quantile(other_floor, 0.95), button, "≤ 150 ms"),
    ]


def _tap_on(
    browser: Browser, url: str, ready: str, own: str, other: str, back: Callable[[Page], None]
) -> tuple[list[float], list[float]]:
    """Tap the pad repeatedly; returns milliseconds to the echo, and to ``other`` on a second page."""
    pages = [phone(browser).new_page() for _ in range(2)]
    for page, answer in zip(pages, (own, other), strict=True):
        page.goto(url)
        wait_for(page, ready)
        arm(page, pad="#pad", answer=answer)
    time.sleep(1)
    own_ms, other_ms = [], []
    for _ in range(TAPS):
        pages[1].evaluate("bench.answered = null")
        pages[0].locator("#pad").tap(no_wait_after=True)
        tapped, echoed = wait_for(pages[0], "bench.answered && [bench.tapped, bench.answered]")
        own_ms.append(echoed - tapped)
        other_ms.append(wait_for(pages[1], "bench.answered") - tapped)
        back(pages[0])
        time.sleep(1)  # a pad ignores a second tap in quick succession
    for page in pages:
        page.context.close()
    return own_ms, other_ms


def _undo(page: Page) -> None:
    time.sleep(0.3)
    page.locator("#undo").tap(no_wait_after=True)


def _busy(browser: Browser, ours: Running, bare: Running) -> list[Figure]:
    our_share, bare_share = [], []
    for _ in range(ROUNDS):
        page = phone(browser).new_page()
        with Roast(ours.port, MINUTE_15_S):
            page.goto(ours.url + PAGE)
            wait_for(page, _DRAWN)
            time.sleep(2)
            width, height = page.evaluate(
                "(({clientWidth: w, clientHeight: h}) => [w, h])(document.getElementById('curves'))"
            )
            our_share.append(100 * busy_share(page, ROUND_S, slowed=SLOWED))
        page.context.close()
        page = phone(browser).new_page()
        page.goto(f"{bare.url}/chart?width={width}&height={height}")
        wait_for(page, "document.body.dataset.ready === 'yes'")
        time.sleep(2)
        bare_share.append(100 * busy_share(page, ROUND_S, slowed=SLOWED))
        page.context.close()
    name = f"main thread busy in minute 15, CPU {SLOWED}× slower"
    floor_is = "bare page that streams the same chart"
    return [Figure(name, sum(our_share) / ROUNDS, "%", sum(bare_share) / ROUNDS, floor_is, "≤ 1.3 times")]
