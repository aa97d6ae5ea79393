"""The set-up of a machine against a real Modbus server: trial, reading, check, loss and return."""

import re
from collections.abc import Iterator
from itertools import pairwise

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.house import House
from tests.browser.screen import PHONE, TABLET, Screen
from tests.instruments.modbus_server import ModbusServer

OLD_S, BANNER_S, LOST_S = 3, 5, 20


@pytest.fixture
def meter() -> Iterator[ModbusServer]:
    """A panel meter: input register 0 says 1963, a tenth of a degree each."""
    with ModbusServer() as server:
        yield server


def set_up(page: Screen, meter: ModbusServer) -> None:
    """A machine whose bean probe the meter reads."""
    page.open("/machines")
    begin = page.by_id("begin")
    for label, typed in (("Name", "Little drum"), ("Smallest charge", "500"), ("Largest charge", "1200")):
        begin.get_by_label(label, exact=False).fill(typed)
    page.tap("Create")
    page.page.get_by_role("link", name="Bean probe").tap()
    expect(page.page.get_by_label("Source")).to_be_visible()
    ready = "typeof htmx === 'object' && document.readyState === 'complete'"
    page.until(lambda: page.page.evaluate(ready), "no htmx, which fetches the fields of a choice")
    page.page.get_by_label("Source").select_option("modbus-tcp")
    page.page.get_by_label(re.compile("^Address")).fill("127.0.0.1")
    page.page.get_by_label(re.compile("^Port")).fill(str(meter.port))
    page.page.get_by_label("Register").fill("0")
    page.page.get_by_label("Multiplied by").fill("0,1")


def test_a_channel_is_tried_kept_seen_and_checked(house: House, screen: MakeScreen, meter: ModbusServer):
    """A wrong register reports why, a right one its value and a question; an offset is kept with its reference."""
    page = screen(house.server, TABLET)
    page.expected = ["status of 422"]
    set_up(page, meter)
    page.page.get_by_label("Register").fill("900")
    page.tap("Test connection")
    expect(page.by_id("trial")).to_contain_text("No value.")
    expect(page.by_id("trial")).to_contain_text("address")
    page.page.get_by_label("Register").fill("0")
    page.page.get_by_label("Multiplied by").fill("")
    page.tap("Test connection")
    expect(page.by_id("trial")).to_contain_text("Reading: 1")
    page.tap("Did you mean 196.3 °C? (× 0.1)")
    expect(page.page.get_by_label("Multiplied by")).to_have_value("0.1")
    expect(page.by_id("trial")).to_contain_text("Reading: 196.3")
    expect(page.by_id("trial")).to_contain_text("1963")
    page.tap("Save")
    expect(page.by_id("parts")).to_contain_text("196.3")
    meter.set_input(0, [1004])
    page.page.get_by_role("link", name="Bean probe").tap()
    page.page.get_by_role("link", name="Check probe").tap()
    expect(page.by_id("rest")).to_contain_text("100.4", timeout=20_000)
    page.page.get_by_label("boiling water, by air pressure").check()
    page.page.get_by_label("or air pressure in the room").fill("1013,25")
    page.page.get_by_label("Probe reading").fill("100.4")
    page.tap("Compare", page.by_id("main"))  # the rail has a link of that name
    offset = page.by_id("found").locator("dd").last
    expect(offset).to_have_text(re.compile(r"^-0\.4"))  # water boils at 100.0 °C at 1013.25 hPa, by ITS-90 at 99.97
    page.tap("Save offset")
    expect(page.by_id("parts")).to_contain_text("offset -0.4")
    expect(page.by_id("parts")).to_contain_text("checked")
    sheet = page.page.request.get(f"{house.server.url}/machines/little_drum/sheet.toml").text()
    assert 'id = "little_drum"' in sheet
    page.open("/machines")
    page.page.get_by_text("Paste a sheet").tap()
    page.by_id("sheet-text").fill(sheet.replace("Little drum", "Little drum, again"))
    page.tap("Add this machine")
    expect(page.page.get_by_role("heading", name="Little drum, again")).to_be_visible()


@pytest.mark.drawn
def test_a_lost_instrument_greys_the_numbers_and_leaves_a_gap(house: House, screen: MakeScreen, meter: ModbusServer):
    """Numbers are grey with their age after 3 s and a line tells it after 5 s; after the return the curve has a gap."""
    page = screen(house.server, PHONE)
    set_up(page, meter)
    page.tap("Save")
    expect(page.by_id("parts")).to_contain_text("196.3")
    page.open_live("little_drum")
    page.pad("Charge")
    page.sent()
    page.until(lambda: len(known(page)) > 3, "no curve")
    meter.kill()
    expect(page.by_id("three")).to_have_class(re.compile("old"), timeout=(OLD_S + 10) * 1000)
    expect(page.by_id("age")).to_contain_text("old")
    expect(page.by_id("trouble-said")).to_contain_text("Readings stopped.", timeout=(BANNER_S + 10) * 1000)
    page.page.wait_for_timeout(LOST_S * 1000)
    code = house.server.get("/machines/little_drum/view")["batch"]["code"]
    told = house.server.get(f"/api/batches/{code}/curve")
    before_s = max(time_s for time_s, value in zip(told["t_s"], told["bean_probe"], strict=True) if value is not None)
    meter.start()
    page.until(lambda: max(known(page)) > before_s + 10, "the curve does not go on")
    expect(page.by_id("three")).not_to_have_class(re.compile("old"))
    times = known(page)
    assert max(later - one for one, later in pairwise(times)) > LOST_S - 5
    told = house.server.get(f"/api/batches/{code}/curve")
    missing = range(round(before_s) + 4, round(before_s) + LOST_S - 5)  # rows of the last seconds came when it was back
    gap = [value for time_s, value in zip(told["t_s"], told["bean_probe"], strict=True) if time_s in missing]
    assert gap
    assert set(gap) == {None}


def known(page: Screen) -> list[float]:
    """The times at which the live chart has a value of the bean probe. [s]"""
    columns = page.columns("live")
    return [time_s for time_s, value in zip(columns["t_s"], columns["bean_probe"], strict=True) if value is not None]
