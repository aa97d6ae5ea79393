"""A network lost in mid-roast: no tap is lost or doubled, and the curve has no gap in the end."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.house import CUT_ERRORS
from tests.browser.screen import ODD, PHONE, Screen, close
from tests.browser.server import Server
from tests.browser.wire import Wire

AWAY_S = 30  # of the demo's time, after the last tap
SLACK_MS = 6_000  # 0.5 s of real time at the demo's speed: what two clocks may differ by on a busy machine


@pytest.fixture
def wire(demo: Server) -> Iterator[Wire]:
    """What connects the screen with the demo."""
    wire = Wire(demo.url)
    yield wire
    wire.close()


@pytest.mark.drawn
def test_offline_taps_arrive_once(demo: Server, wire: Wire, screen: MakeScreen, roast: str):
    """Taps made offline arrive once each at the times of the finger, and no row of the curve is missing."""
    phone = screen(wire, PHONE)
    phone.expected = CUT_ERRORS
    phone.open_live()
    phone.until(lambda: len(phone.columns("live")["t_s"]) > 30, "no curve")
    phone.context.set_offline(True)
    wire.cut()
    expect(phone.by_id("phase")).to_contain_text("offline")

    spans = {}
    for waiting, (kind, tap) in enumerate((("moment", _yellow), ("crack", _crack), ("note", _note)), start=1):
        before_ms = _now_ms(demo)
        tap(phone)
        expect(phone.by_id("waiting")).to_have_text(f"{waiting} waiting")
        spans[kind] = (before_ms, _now_ms(demo))
    expect(phone.by_id("echo-state")).to_contain_text("saved here")
    rows = len(phone.columns("live")["t_s"])
    phone.until(lambda: _now_ms(demo) > spans["note"][1] + AWAY_S * 1000, "the demo's clock stands still")
    assert not any(entry["kind"] in spans and entry["body"] != {"moment": "charge"} for entry in _entries(demo, roast))
    assert len(phone.columns("live")["t_s"]) <= rows + AWAY_S // 2  # what came before the loss, and no more

    wire.mend()
    phone.context.set_offline(False)
    phone.sent()
    said = [entry for entry in _entries(demo, roast) if entry["body"] != {"moment": "charge"}]
    for kind, (before_ms, after_ms) in spans.items():
        times = [entry["at_ms"] for entry in said if entry["kind"] == kind]
        assert len(times) == 1, kind
        assert before_ms - SLACK_MS <= times[0] <= after_ms + SLACK_MS, kind
    expect(phone.by_id("phase")).not_to_contain_text("offline")
    _whole(demo, phone, roast, rows + AWAY_S)


def _whole(demo: Server, phone: Screen, code: str, at_least: int) -> None:
    """The page's columns are the server's, second by second; its newest second was still being measured."""
    phone.until(lambda: len(phone.columns("live")["t_s"]) > at_least, "the curve does not go on")
    shown = phone.columns("live")
    kept = demo.get(f"/api/batches/{code}/curve")
    assert shown["t_s"] == list(range(len(shown["t_s"])))
    for name in ("bean_probe", "bean_surface", "exhaust"):
        assert len(kept[name]) >= len(shown[name]) - 1
        pairs = list(zip(shown[name], kept[name], strict=False))
        off = [(time_s, *pair) for time_s, pair in enumerate(pairs) if not close(*pair)]
        assert len(off) <= ODD * len(pairs), off


def _yellow(phone: Screen) -> None:
    phone.pad("Yellow")


def _crack(phone: Screen) -> None:
    phone.tap("Crack")
    phone.sheet("crack").get_by_role("button", name=re.compile("Sparse")).tap()


def _note(phone: Screen) -> None:
    phone.tap("Note")
    phone.by_id("note-text").fill("said without a network")
    phone.tap("Save", phone.sheet("note"))


def _now_ms(demo: Server) -> int:
    return int(demo.get("/api/clock")["now_ms"])


def _entries(demo: Server, code: str) -> list[dict[str, object]]:
    entries: list[dict[str, object]] = demo.get(f"/api/batches/{code}")["entries"]
    return entries
