"""Taps counted by the page itself, from Today to a named charge."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE, Screen
from tests.browser.server import Server

COUNT_TAPS = """document.addEventListener("pointerdown", (event) => {
  if (event.isTrusted) sessionStorage.setItem("taps", 1 + Number(sessionStorage.getItem("taps")));
}, true);"""
FACTS = {"lot": "HU-7", "coffee": "Alder washed", "green_g": 3850.0, "intent": "filter"}


@pytest.fixture
def server(furnished: Path, tmp_path: Path) -> Iterator[Server]:
    """A server with one machine, on which two coffees were roasted, the washed one last."""
    server = Server.start(shutil.copytree(furnished, tmp_path / "data"), "serve", drawn=False)
    for facts in ({"coffee": "Linden natural", "green_g": 3000.0, "intent": "espresso"}, FACTS):
        code = server.say("opened", **facts)
        for moment in ("charge", "drop"):
            server.say("moment", code, moment=moment)
    yield server
    assert server.stop() == []


@pytest.fixture
def phone(server: Server, screen: MakeScreen) -> Screen:
    """A phone on Today, which counts its taps from now on."""
    phone = screen(server, PHONE)
    phone.page.add_init_script(COUNT_TAPS)
    phone.open("/")
    return phone


def taps(page: Page) -> int:
    """Taps on any page since the first one was opened."""
    return int(page.evaluate("sessionStorage.getItem('taps')") or 0)


def charge(phone: Screen, server: Server) -> dict[str, object]:
    """Tap the pad, and wait for the batch in the drum; its facts."""
    phone.pad("Charge")
    phone.sent()
    batch = server.get("/machines/drum-4/view")["batch"]
    assert batch["state"] == "roasting"
    facts: dict[str, object] = batch["facts"]
    return facts


def test_the_same_coffee_again_is_charged_in_three_taps(phone: Screen, server: Server):
    """From Today: Start, Start, Charge; the batch has lot, coffee, weight and purpose of the last one."""
    phone.tap("Start")
    expect(phone.page.get_by_role("button", name="Start", exact=True)).to_be_in_viewport(ratio=1)
    phone.tap("Start")
    assert charge(phone, server) == FACTS
    assert taps(phone.page) == 3


def test_another_recent_coffee_is_charged_in_four_taps(phone: Screen, server: Server):
    """From Today: Start, Same as, Start, Charge; no link of “Same as” is smaller than a finger."""
    phone.tap("Start")
    links = phone.page.locator(".same-as a")
    expect(links).to_have_count(3)
    for link in links.all():
        box = link.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= 44  # the target size of WCAG 2.2, success criterion 2.5.5 [memory]
    links.filter(has_text="Linden natural").tap()
    expect(links.nth(1)).to_have_attribute("aria-current", "true")
    phone.tap("Start")
    assert charge(phone, server) == {"coffee": "Linden natural", "green_g": 3000.0, "intent": "espresso"}
    assert taps(phone.page) == 4
