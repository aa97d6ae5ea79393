"""Take the README's four pictures and the two of the app's manifest, of a demo: ``python -m tests.pictures``."""

import io
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from PIL import Image
from playwright.sync_api import Browser, Page, ViewportSize, expect, sync_playwright

from tests import chromium
from tests.browser.server import Server
from tests.checkout import ROOT

SPEED: Final = 12
COLOURS: Final = 128  # more show no difference in pages of few colours
README: Final = ROOT / "docs" / "pictures"
MANIFEST: Final = ROOT / "static" / "screenshots"
PHONE: Final[ViewportSize] = {"width": 390, "height": 844}
TABLET: Final[ViewportSize] = {"width": 1180, "height": 820}
DESK: Final[ViewportSize] = {"width": 1280, "height": 800}
WITHIN_MS: Final = 180_000  # a roast of ten minutes at the demo's speed
ROWS: Final = "Bokeh.documents[0].get_model_by_name('live').data.t_s.length"


def main() -> None:
    """Take all pictures; each waits for what it shows."""
    README.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="drumside-pictures-") as folder, sync_playwright() as playwright:
        demo = Server.start(Path(folder) / "data", "demo", "--speed", str(SPEED))
        browser = chromium.launch(playwright)
        try:
            _take(browser, demo)
        finally:
            browser.close()
            demo.stop()


def _take(browser: Browser, demo: Server) -> None:
    """The live page twice while the beans crack; a finished batch's record and bag; the list at a desk."""
    released = [one for one in demo.get("/api/batches")["batches"] if one["state"] == "released"]
    code = released[0]["code"]
    with (
        _page(browser, f"{demo.url}/machines/drum-4", PHONE) as phone,
        _page(browser, f"{demo.url}/machines/drum-4", TABLET) as tablet,
    ):
        expect(phone.locator("#pad-next")).to_have_text("First crack", timeout=WITHIN_MS)
        expect(phone.locator("#phase")).to_contain_text("browning")
        expect(phone.locator("#pad-left")).to_contain_text("in about 0:", timeout=WITHIN_MS)
        _drawn(phone)
        _keep(phone, MANIFEST / "narrow.png")
        expect(phone.locator("#pad-next")).to_have_text("Drop", timeout=WITHIN_MS)
        expect(phone.locator("#pad-left")).to_contain_text("in ")
        expect(tablet.locator("#pad-next")).to_have_text("Drop", timeout=WITHIN_MS)
        for page in (tablet, phone):
            _drawn(page)  # with first crack
        _drawn(phone)
        _keep(phone, README / "live.png", sharp=True)
        _drawn(tablet)
        _keep(tablet, MANIFEST / "wide.png")
    with _page(browser, f"{demo.url}/batches/{code}", PHONE) as page:
        page.locator("#curve[data-drawn]").wait_for(timeout=WITHIN_MS)
        page.wait_for_timeout(1000)
        _keep(page, README / "record.png", sharp=True)
        page.get_by_text("More with this batch").click()
        page.get_by_role("link", name="Bag page").click()
        page.locator(".small-curve").wait_for()
        _keep(page, README / "bag.png", sharp=True)
    with _page(browser, f"{demo.url}/batches", DESK) as page:
        expect(page.locator(".rail-foot strong").first).to_be_visible()
        expect(page.locator(".small-curve").nth(8)).to_be_visible()
        _keep(page, README / "desk.png")


@contextmanager
def _page(browser: Browser, url: str, size: ViewportSize) -> Iterator[Page]:
    context = browser.new_context(
        viewport=size,
        device_scale_factor=2 if size == PHONE else 1,
        locale="en-GB",
        color_scheme="light",
        has_touch=size != DESK,
    )
    page = context.new_page()
    page.goto(url)
    yield page
    context.close()


def _drawn(page: Page) -> None:
    """Wait until the chart has just drawn its newest readings: only then it agrees with the numbers above it."""
    rows, until_s = page.evaluate(ROWS), time.monotonic() + WITHIN_MS / 1000
    while page.evaluate(ROWS) == rows:
        if time.monotonic() > until_s:
            raise TimeoutError("the live chart draws nothing more")
        page.wait_for_timeout(20)


def _keep(page: Page, path: Path, *, sharp: bool = False) -> None:
    """Store what the page shows as a PNG of few colours, of one pixel for each of the page's unless ``sharp``."""
    with Image.open(io.BytesIO(page.screenshot(scale="device" if sharp else "css"))) as picture:
        picture.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)
    print(f"{path.relative_to(ROOT)}  {path.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
