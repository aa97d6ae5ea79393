"""The live page on a device that has never seen it."""

import json
import shutil
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import Request, urlopen

import pytest

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE
from tests.browser.server import Server

ROWS = 30


@pytest.fixture
def still(furnished: Path, tmp_path: Path) -> Iterator[tuple[Server, str]]:
    """A server with a batch in the drum and half a minute of readings, to which nothing more comes; and its code."""
    server = Server.start(shutil.copytree(furnished, tmp_path / "data"), "serve")
    code = server.say("opened", coffee="Alder washed", green_g=4000)
    server.say("moment", code, moment="charge")
    now_ms = server.get("/api/clock")["now_ms"]
    readings = [{"at_ms": now_ms - 1000 * row, "channel": "bean_probe", "value": 150.0 + row} for row in range(ROWS)]
    pushed = Request(
        f"{server.url}/api/machines/drum-4/readings",
        json.dumps({"readings": readings}).encode(),
        {"Content-Type": "application/json"},
    )
    urlopen(pushed, timeout=10).close()
    yield server, code
    assert server.stop() == []


def test_a_cold_live_page_asks_for_nothing_twice(still: tuple[Server, str], screen: MakeScreen):
    """A cold live page requests each file, the view and the curve once, and no module that the page did not name."""
    server, code = still
    phone = screen(server, PHONE, service_workers="block")
    asked: list[str] = []
    phone.page.on("request", lambda request: asked.append(urlsplit(request.url).path))
    phone.open_live()
    phone.until(lambda: f"/api/batches/{code}/curve" in asked, "the curve was not asked for")
    phone.page.wait_for_timeout(1000)  # for what might be asked again
    counted = Counter(path for path in asked if path != "/api/clock")  # asked several times: the quickest answer counts
    assert {path: count for path, count in counted.items() if count > 1} == {}
    assert counted["/machines/drum-4/view"] == 1
    named = phone.page.locator("link[rel=modulepreload], script[src]").evaluate_all(
        "(all) => all.map((one) => new URL(one.href || one.src).pathname)"
    )
    assert {path for path in asked if "/js/" in path} <= set(named)
