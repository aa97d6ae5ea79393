"""The live page in °F: numbers and echoes are in °F, and the curves get °C."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE
from tests.browser.server import Server


def test_a_page_in_fahrenheit(own_demo: Server, screen: MakeScreen):
    """Number and echo read in °F; the rows of the chart are the curve's own, which is in °C."""
    phone = screen(own_demo, PHONE)
    phone.open("/settings")
    phone.page.get_by_text("°F", exact=True).tap()
    with phone.page.expect_navigation():
        phone.tap("Save settings")
    theirs = own_demo.get("/machines/drum-4/view")["batch"]
    if theirs["state"] == "roasting":
        own_demo.say("moment", theirs["code"], moment="drop")
    code = own_demo.say("opened")
    own_demo.say("moment", code, moment="charge")
    phone.open_live()
    expect(phone.page.locator("#three")).to_contain_text("°F")
    rows = phone.until(lambda: (found := phone.columns("live"))["t_s"][60:] and found, "no rows")

    phone.tap("Other moment")
    phone.sheet("moment").locator("[data-moment=drop]").tap()
    expect(phone.by_id("echo")).to_have_text(re.compile(r"^Drop \d+:\d\d · \d+\.\d °F( · implausibly early)?$"))
    phone.sent()
    drop_s = own_demo.get(f"/api/batches/{code}")["moments"]["drop"]
    curve = own_demo.get(f"/api/batches/{code}/curve")
    drop_c = curve["bean_probe"][curve["t_s"].index(int(drop_s))]
    told_f = float(re.findall(r"([\d.]+) °F", phone.by_id("echo").inner_text())[0])
    assert told_f == pytest.approx(drop_c * 9 / 5 + 32, abs=3)  # the row of the second before, and it is moving
    assert rows["bean_probe"][60] == pytest.approx(curve["bean_probe"][curve["t_s"].index(rows["t_s"][60])], abs=0.01)
