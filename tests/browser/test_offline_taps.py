"""500 taps over 20 cuts of the network: each arrives once, in order, with the time of the finger."""

from collections.abc import Callable
from itertools import cycle, islice

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.house import CUT_ERRORS, House, kept_live
from tests.browser.screen import PHONE, Screen

CUTS, TAPS = 20, 500
NEAR_MS = 300
SENT_MS = 90_000  # on a busy machine: a question that hangs is given up after 8 s, and asked again after up to 10
WRONG_H = 5
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


@pytest.mark.timeout(300)
def test_500_taps_over_20_cuts(house: House, screen: MakeScreen):
    """Each of 500 taps arrives once over lost Wi-Fi, dropped connections, lost answers, server stops and reloads."""
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
    expect(phone.by_id("waiting")).to_have_text("0 waiting", timeout=SENT_MS)
    check(house, times)


def test_taps_of_a_phone_whose_clock_is_wrong(house: House, screen: MakeScreen):
    """Taps of a phone that is five hours ahead have the right times, with a network and without one."""
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
    kept_live(phone, house)
    phone.pad("Charge")
    phone.sent()


def check(house: House, times: list[float]) -> None:
    """The journal has each tap once, in order, at its time."""
    notes, ahead_ms = house.said("note"), house.ahead_ms()
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
    expect(phone.by_id("phase")).to_contain_text("offline")
    tap()
    house.wire.mend()
    phone.context.set_offline(False)


def stopped(_phone: Screen, house: House, tap: Callable[[], None]) -> None:
    """The server ends, and is started again."""
    house.stop()
    tap()
    house.start()
