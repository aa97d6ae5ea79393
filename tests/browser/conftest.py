"""Shared by the browser tests: a running demo, an empty server, a real Chromium, and the two screens."""

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, sync_playwright

from roastlog.web.http import assets
from tests import chromium
from tests.browser.house import House
from tests.browser.roasting import Roasting, roasting
from tests.browser.screen import PHONE, TABLET, Screen
from tests.browser.server import Server
from tests.browser.wire import Wire
from tests.conftest import Bench
from tests.launcher import undrawn

SPEED = "30"
CALM = "12"  # the shared demo runs while other tests do: it takes half as much of their time
MakeScreen = Callable[..., Screen]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what needs Chromium."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The system's Chromium, else Playwright's own."""
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=chromium.shell(), args=chromium.FLAGS)
        yield running
        running.close()


def _serving(folder: Path, *words: str, drawn: bool = True) -> Iterator[Server]:
    server = Server.start(folder, *words, drawn=drawn)
    yield server
    assert server.stop() == []


def _roasting(folder: Path, speed: str, *, drawn: bool = True) -> Iterator[Server]:
    """A demo whose operator has charged: one that charged later would take the page away from a test's own batch."""
    for server in _serving(folder, "demo", "--speed", speed, drawn=drawn):
        server.until(partial(_in_drum, server), "the operator has not charged")
        yield server


def _in_drum(server: Server) -> bool:
    batch = server.get("/machines/drum-4/view")["batch"]
    return batch is not None and batch["state"] == "roasting"


def is_drawn(item: Any) -> bool:  # noqa: ANN401 - an item, or a request's node
    """Whether a test looks at a chart, or claims that one is there: for the others BokehJS is a stub."""
    return item.get_closest_marker("drawn") is not None


class SharedDemo:
    """The demo of the tests that make a batch of their own in it; it runs until the next test does not look at it."""

    def __init__(self, folders: pytest.TempPathFactory) -> None:
        self._folders = folders
        self._running: Iterator[Server] = iter(())
        self._server: Server | None = None
        self._drawn = False

    def server(self, *, drawn: bool) -> Server:
        """The one that runs, or a new one."""
        if self._server is None or self._drawn != drawn:
            self.stop()
            self._drawn = drawn
            self._running = _roasting(self._folders.mktemp("demo") / "data", CALM, drawn=drawn)
            self._server = next(self._running)
        return self._server

    def stop(self) -> None:
        """End it; what it left running fails the test that looked at it last."""
        self._server = None
        assert next(self._running, None) is None


@pytest.fixture(scope="session")
def shared_demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SharedDemo]:
    """The demo, if it runs."""
    shared = SharedDemo(tmp_path_factory)
    yield shared
    shared.stop()


@pytest.hookimpl(trylast=True)
def pytest_runtest_teardown(item: pytest.Item, nextitem: pytest.Item | None) -> None:
    """Stop the demo that the next test does not look at: it takes the time of those that run meanwhile."""
    shared = getattr(item, "funcargs", {}).get("shared_demo")
    if shared is not None and "shared_demo" not in getattr(nextitem, "fixturenames", ()):
        shared.stop()


@pytest.fixture
def demo(shared_demo: SharedDemo, request: pytest.FixtureRequest) -> Server:
    """The demo at a calm speed; a test that looks at it leaves it as it was, or takes `roast`."""
    return shared_demo.server(drawn=is_drawn(request.node))


@pytest.fixture
def own_demo(tmp_path: Path) -> Iterator[Server]:
    """A demo of the test's own, just begun: its operator is roasting."""
    yield from _roasting(tmp_path / "data", SPEED)


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Server]:
    """A server on an empty folder."""
    yield from _serving(tmp_path / "data", "serve")


@pytest.fixture
def house(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[House]:
    """A server of the test's own on the practice machine, behind a wire that can be cut."""
    house = House(tmp_path / "data", drawn=is_drawn(request.node))
    yield house
    house.wire.close()
    assert house.server.stop() == []


@pytest.fixture
def screen(browser: Browser) -> Iterator[MakeScreen]:
    """Makes screens; a screen that met an error, or broke the policy, fails the test."""
    made: list[Screen] = []

    def make(server: Server | Wire, device: dict[str, Any], **more: Any) -> Screen:  # noqa: ANN401 - Playwright's options
        context = browser.new_context(**device, **more)
        made.append(Screen(context, server.url))
        return made[-1]

    yield make
    faults = [fault for one in made for fault in one.unexpected]
    for one in made:
        one.context.close()
    assert faults == []


@pytest.fixture
def drum(bench: Bench, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[Roasting]:
    """A server with a batch in its drum, whose clock stands still."""
    if not is_drawn(request.node):
        monkeypatch.setitem(assets._VENDOR, "bokeh", undrawn())
    with roasting(bench) as server:
        yield server


@pytest.fixture
def phone(demo: Server, screen: MakeScreen) -> Screen:
    """A phone that looks at the shared demo."""
    return screen(demo, PHONE)


@pytest.fixture
def tablet(demo: Server, screen: MakeScreen) -> Screen:
    """A tablet that looks at the shared demo."""
    return screen(demo, TABLET)


@pytest.fixture
def roast(demo: Server) -> Iterator[str]:
    """A batch of the test's own in the shared demo's drum, just charged; its code."""
    _drop(demo)
    code = demo.say("opened", coffee="Alder washed", green_g=4000)
    demo.say("moment", code, moment="charge")
    yield code
    _drop(demo)


def _drop(demo: Server) -> None:
    batch = demo.get("/machines/drum-4/view")["batch"]
    if batch and batch["state"] in {"open", "roasting"}:
        demo.say("moment", batch["code"], moment="drop")
