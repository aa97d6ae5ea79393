"""The live page on a device that has never seen it."""

from collections import Counter
from urllib.parse import urlsplit

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE
from tests.browser.server import Server


def test_a_cold_live_page_asks_for_nothing_twice(demo: Server, roast: str, screen: MakeScreen):
    """Every file, the view and the curve are each asked for once, and no module that the page did not name."""
    phone = screen(demo, PHONE, service_workers="block")
    asked: list[str] = []
    phone.page.on("request", lambda request: asked.append(urlsplit(request.url).path))
    phone.open_live()
    phone.until(lambda: f"/api/batches/{roast}/curve" in asked, "the curve was not asked for")
    phone.page.wait_for_timeout(1000)  # for what might be asked again
    counted = Counter(path for path in asked if path != "/api/clock")  # asked several times: the quickest answer counts
    assert {path: count for path, count in counted.items() if count > 1} == {}
    assert counted["/machines/drum-4/view"] == 1
    named = phone.page.locator("link[rel=modulepreload], script[src]").evaluate_all(
        "(all) => all.map((one) => new URL(one.href || one.src).pathname)"
    )
    assert {path for path in asked if "/js/" in path} <= set(named)
