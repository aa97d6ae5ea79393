"""Readings typed by hand: from the live page to the keypad and back, without a network too, and drawn as points."""

from urllib.parse import urlencode
from urllib.request import Request, urlopen

import pytest
from playwright.sync_api import expect

from tests.browser.axe import violations
from tests.browser.conftest import MakeScreen
from tests.browser.house import CUT_ERRORS, House, kept_paths
from tests.browser.screen import PHONE, Screen


def set_up(house: House, channel: str, name: str, kind: str) -> None:
    """Say on the machine's set-up page how a channel is read."""
    form = urlencode({"kind": kind, "name": name, "role": channel}).encode()
    with urlopen(Request(f"{house.server.url}/machines/{house.machine}/channels/{channel}", form), timeout=30):
        pass


def by_hand(house: House, screen: MakeScreen) -> Screen:
    """A phone at a machine of the house whose bean probe is a thermometer that somebody reads."""
    set_up(house, "bean_probe", "Bean probe", "hand")
    phone = screen(house.wire, PHONE)
    phone.expected = CUT_ERRORS
    return phone


def type_reading(phone: Screen, digits: str) -> None:
    """Type a reading on the large keys and keep it."""
    for digit in digits:
        phone.page.locator(f"[data-key='{digit}']").tap()
    phone.tap("Save reading")
    expect(phone.by_id("value")).to_have_value("")


def points(phone: Screen) -> list[float]:
    """What the live chart holds of the bean probe."""
    return [round(value, 2) for value in phone.columns("live")["bean_probe"] if value is not None]


@pytest.mark.drawn
def test_a_reading_typed_on_the_phone_is_a_point_of_the_live_curve(house: House, screen: MakeScreen):
    """A typed reading is one point of the live curve at the time of its first key; the rate is another channel's."""
    phone = by_hand(house, screen)
    phone.open(f"/machines/{house.machine}")
    phone.pad("Charge")
    phone.sent()
    desk = screen(house.server, PHONE)
    desk.open(f"/machines/{house.machine}")
    expect(phone.by_id("actions-idle")).to_be_visible(timeout=15_000)
    phone.tap("Type a reading")
    phone.page.locator("[data-key='1']").tap()
    phone.page.wait_for_timeout(3500)  # it is typed slowly: its second of the curve is over before it comes
    type_reading(phone, "83.6")
    expect(phone.by_id("kept")).to_contain_text("183.6")
    assert violations(phone.page) == []  # by axe-core; the demo has no page like this
    expect(desk.by_id("temp")).to_have_text("183.6")
    desk.until(lambda: points(desk) == [183.6], "it is no point of the curve")
    expect(desk.by_id("rate-label")).to_contain_text("Surface rate")
    expect(desk.by_id("three")).not_to_have_class("old")
    code = house.server.get(f"/machines/{house.machine}/view")["batch"]["code"]
    column = house.server.get(f"/api/batches/{code}/curve")["bean_probe"]
    assert [value for value in column if value is not None] == [183.6]


@pytest.mark.drawn
def test_readings_typed_without_a_network_wait_and_arrive_at_their_times(house: House, screen: MakeScreen):
    """The keypad opens offline; typed readings wait, over a reload too, and arrive with the times of their typing."""
    phone = by_hand(house, screen)
    phone.open(f"/machines/{house.machine}")
    pages = {f"/machines/{house.machine}", f"/machines/{house.machine}/hand"}
    phone.until(lambda: pages <= set(kept_paths(phone)), "the keypad is not kept")
    phone.pad("Charge")
    phone.sent()
    phone.context.set_offline(True)
    house.wire.cut()
    phone.open(f"/machines/{house.machine}/hand")
    for digits in ("90.5", "104"):
        type_reading(phone, digits)
        phone.page.wait_for_timeout(1500)
    expect(phone.by_id("typed-waits")).to_contain_text("2 readings are saved on this device")
    phone.page.reload()
    expect(phone.by_id("kept")).to_contain_text("104")
    house.wire.mend()
    phone.context.set_offline(False)
    expect(phone.by_id("typed-waits")).to_be_hidden()
    code = house.server.get(f"/machines/{house.machine}/view")["batch"]["code"]

    def arrived() -> list[tuple[float, float]]:
        told = house.server.get(f"/api/batches/{code}/curve")
        rows = zip(told["t_s"], told["bean_probe"], strict=True)
        return [(time_s, value) for time_s, value in rows if value is not None]

    phone.until(lambda: [value for _, value in arrived()] == [90.5, 104.0], "they are not on the curve")
    (first_s, _), (second_s, _) = arrived()
    assert 1 <= second_s - first_s <= 10


def test_a_reading_that_is_refused_stays_with_its_reason(house: House, screen: MakeScreen):
    """A refused reading is listed apart, outlasts a reload, and can be changed at its own time or deleted."""
    phone = by_hand(house, screen)
    set_up(house, "bean_surface", "Bean surface", "hand")
    phone.open(f"/machines/{house.machine}/hand?channel=bean_probe")
    phone.until(lambda: f"/machines/{house.machine}/hand" in kept_paths(phone), "the keypad is not kept")
    phone.context.set_offline(True)
    house.wire.cut()
    for digits in ("111", "183", "2"):
        type_reading(phone, digits)
    set_up(house, "bean_probe", "Bean probe", "simulated")  # it is read by itself from now on: nobody's word counts
    house.wire.mend()
    phone.context.set_offline(False)
    notices, kept = phone.by_id("notices"), phone.by_id("kept")
    expect(notices).to_contain_text("183 °C at")
    expect(notices).to_contain_text("Channel bean_probe is read from its own instrument")
    expect(kept).not_to_contain_text("183")
    assert violations(phone.page) == []
    stored = "JSON.parse(localStorage['drumside-typed'])"
    at_ms = [one["at_ms"] for one in phone.page.evaluate(stored)]
    assert len(at_ms) == 3
    second = notices.locator(".notice").nth(1)
    phone.tap("Change", second)
    expect(phone.by_id("value")).to_have_value("183")
    expect(phone.page.locator("[data-key=back]")).to_be_focused()
    phone.page.reload()  # left half way: it is still there
    expect(notices.locator(".notice")).to_have_count(3)
    phone.tap("Remove", notices.locator(".notice").nth(2))
    phone.tap("Change", second)
    expect(phone.page.get_by_label("Bean surface")).to_have_value("183")  # the one that is still read by hand
    phone.tap("Save reading")
    expect(kept).to_contain_text("Bean surface")
    phone.until(lambda: [one["at_ms"] for one in phone.page.evaluate(stored)] == at_ms[:1], "it is not settled")
    phone.page.reload()
    expect(notices.locator(".notice")).to_have_count(1)
    expect(kept).to_contain_text(phone.page.evaluate("(at) => new Date(at).toLocaleTimeString('en-GB')", at_ms[1]))
