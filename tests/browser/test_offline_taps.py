"""500 taps over 20 cuts of the network: none lost, none doubled, in order, and at the times of the finger."""

import time
from collections.abc import Callable, Iterator
from itertools import cycle, islice
from pathlib import Path
from urllib.request import Request, urlopen

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE, Screen
from tests.browser.server import Server
from tests.browser.wire import Wire

CUTS, TAPS = 20, 500
NEAR_MS = 300
WRONG_H = 5
CUT_ERRORS = ["ERR_", "status of 50", "Failed to fetch"]
# A note by the page's own sheet, as a thumb does it; what it gives back is the time of each first touch.
TAP = """async ([first, last]) => {
  const now = globalThis.trueNow ?? Date.now, times = [];
  for (let tap = first; tap < last; tap += 1) {
    times.push(now());
    document.querySelector("[data-sheet=note]").click();
    document.getElementById("note-text").value = `tap ${tap}`;
    document.querySelector("#sheet-note form").requestSubmit();
    await new Promise((done) => setTimeout(done, 5 + 20 * Math.random()));
  }
  return times;
}"""
WRONG_CLOCK = f"globalThis.trueNow = Date.now; Date.now = () => trueNow.call(Date) + {WRONG_H} * 3600e3;"


class House:
    """A server that can be stopped and started anew on its folder, behind a wire that can be cut."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.server = Server.start(folder, "serve")
        self.wire = Wire(self.server.url)
        with urlopen(Request(f"{self.server.url}/machines/practice", b""), timeout=10) as page:
            assert page.status == 200
        self.machine = self.server.get("/healthz")["machines"][0]["id"]

    def stop(self) -> None:
        """End the server, as Ctrl-C does."""
        assert self.server.stop() == []

    def start(self) -> None:
        """Start it anew."""
        self.server = Server.start(self._folder, "serve")
        self.wire.aim(self.server.url)

    def notes(self) -> list[dict[str, object]]:
        """The notes in the order in which the server took them."""
        entries = self.server.get(f"/api/entries?machine={self.machine}&after=0")["entries"]
        return [entry for entry in entries if entry["kind"] == "note"]

    def ahead_ms(self) -> float:
        """By how much the server's clock is ahead of this computer's: the quickest of some round trips."""
        trips = []
        for _ in range(10):
            asked_s = time.time()
            now_ms = self.server.get("/api/clock")["now_ms"]
            answered_s = time.time()
            trips.append((answered_s - asked_s, now_ms - 500 * (asked_s + answered_s)))
        return min(trips)[1]


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """A server of the test's own on the practice machine."""
    house = House(tmp_path / "data")
    yield house
    house.wire.close()
    assert house.server.stop() == []


def test_500_taps_over_20_cuts(house: House, screen: MakeScreen):
    """Wi-Fi off, connections dropped, answers lost, the server stopped, the page loaded anew: each tap arrives once."""
    phone = screen(house.wire, PHONE)
    phone.expected = CUT_ERRORS
    begin(phone, house)
    times: list[float] = []
    before, after = 13, 12  # in the cut, and once it is mended

    def tap(count: int = before) -> None:
        times.extend(phone.page.evaluate(TAP, [len(times), len(times) + count]))

    ways = (offline, dropped, deaf, loaded_anew, offline, dropped, deaf, stopped)
    for cut in islice(cycle(ways), CUTS):
        cut(phone, house, tap)
        tap(after)
    assert len(times) == TAPS
    expect(phone.by_id("waiting")).to_have_text("0 waiting")
    check(house, times)


def test_taps_of_a_phone_whose_clock_is_wrong(house: House, screen: MakeScreen):
    """A phone that is five hours ahead says the right times, with a network and without one."""
    phone = screen(house.wire, PHONE)
    phone.expected = CUT_ERRORS
    phone.context.add_init_script(WRONG_CLOCK)
    begin(phone, house)
    times = phone.page.evaluate(TAP, [0, 5])
    house.wire.cut()
    phone.context.set_offline(True)
    times += phone.page.evaluate(TAP, [5, 15])
    house.wire.mend()
    phone.context.set_offline(False)
    expect(phone.by_id("waiting")).to_have_text("0 waiting")
    check(house, times)


def begin(phone: Screen, house: House) -> None:
    """Open the live page, have it kept, and charge."""
    phone.open_live(house.machine)
    phone.until(lambda: phone.page.evaluate("Boolean(navigator.serviceWorker.controller)"), "no worker")
    phone.pad("Charge")
    phone.sent()


def check(house: House, times: list[float]) -> None:
    """The journal has each tap once, in order, at its time."""
    notes, ahead_ms = house.notes(), house.ahead_ms()
    assert [note["body"] for note in notes] == [{"text": f"tap {tap}"} for tap in range(len(times))]
    assert len({note["batch"] for note in notes}) == 1
    errors_ms = [note["at_ms"] - ahead_ms - at_ms for note, at_ms in zip(notes, times, strict=True)]
    print(f"{len(errors_ms)} taps, worst error {max(map(abs, errors_ms)):.0f} ms")
    assert max(map(abs, errors_ms)) <= NEAR_MS


def offline(phone: Screen, _house: House, tap: Callable[[], None]) -> None:
    """The phone's own network goes."""
    phone.context.set_offline(True)
    tap()
    phone.context.set_offline(False)


def dropped(_phone: Screen, house: House, tap: Callable[[], None]) -> None:
    """The network goes somewhere on the way."""
    house.wire.cut()
    tap()
    house.wire.mend()


def deaf(_phone: Screen, house: House, tap: Callable[[], None]) -> None:
    """What is sent arrives, and its answers are lost."""
    house.wire.deafen()
    tap()
    house.wire.mend()


def loaded_anew(phone: Screen, house: House, tap: Callable[[], None]) -> None:
    """The phone throws the page away while there is no network, and it is opened again."""
    house.wire.cut()
    phone.context.set_offline(True)
    phone.page.evaluate(TAP, [0, 0])
    phone.page.reload()
    expect(phone.by_id("phase")).to_contain_text("no server")
    tap()
    house.wire.mend()
    phone.context.set_offline(False)


def stopped(_phone: Screen, house: House, tap: Callable[[], None]) -> None:
    """The server ends, and is started again."""
    house.stop()
    tap()
    house.start()
