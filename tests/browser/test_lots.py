"""Green lots by hand, on a phone and at a desk: received, checked, accepted and counted."""

import re
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE, Screen
from tests.browser.server import Server

DESK: dict[str, Any] = {"viewport": {"width": 1280, "height": 900}, "has_touch": True}
SIDEWAYS: dict[str, Any] = {"viewport": {"width": 844, "height": 390}, "has_touch": True, "is_mobile": True}


def fill(screen: Screen, **fields: str) -> None:
    """Type into fields by their ids."""
    for name, text in fields.items():
        screen.by_id(name).fill(text)


@pytest.mark.parametrize("device", [PHONE, DESK], ids=["phone", "desk"])
def test_a_lot_is_received_checked_accepted_and_counted(empty: Server, screen: MakeScreen, device: dict[str, Any]):
    """From an empty house to a counted lot, by what the pages offer."""
    page = screen(empty, device)
    page.expected = ["status of 422"]
    page.open("/lots")
    page.tap("Record an arrival")
    fill(page, code="QW-1", coffee="Alder washed", bought="60000", sacks="1", place="Shelf A")
    page.tap("Save lot")
    expect(page.by_id("bought-says")).to_contain_text("Did you mean 60 kg?")
    expect(page.by_id("place")).to_have_value("Shelf A")
    fill(page, bought="60")
    page.tap("Save lot")
    page.tap("Check it")
    fill(page, moisture_percent="11,4", water_activity="0.61", density_mass="702", volume_ml="1000")
    fill(page, **{"defect-broken": "11"})
    page.tap("Save check")
    expect(page.by_id("main")).to_contain_text("All within the limits.")
    page.tap("Accept")
    expect(page.page.locator(".head")).to_contain_text("accepted")
    page.page.locator(".head").get_by_text("Count", exact=True).tap()
    fill(page, counted="59.8")
    page.tap("Compare with the books")
    expect(page.by_id("main")).to_contain_text("The books say 60.00 kg; you counted 59.80 kg: 0.20 kg less.")
    page.tap("Save count")
    expect(page.page.locator(".figures")).to_contain_text("59.8 kg")
    lot = empty.get("/api/lots/QW-1")
    assert [entry["kind"] for entry in lot["entries"]] == ["arrived", "checked", "decided", "counted"]
    assert lot["facts"]["left_g"] == 59_800
    page.page.locator(".journal").get_by_role("button", name=re.compile("^Undo Counted")).tap()
    expect(page.page.locator(".figures")).to_contain_text("60.0 kg")


@pytest.mark.parametrize("device", [PHONE, SIDEWAYS, DESK], ids=["phone", "sideways", "desk"])
def test_no_page_of_a_lot_is_wider_than_the_screen(demo: Server, screen: MakeScreen, device: dict[str, Any]):
    """Nothing has to be scrolled sideways, in English and in German."""
    for locale in ("en", "de"):
        page = screen(demo, device, locale=locale)
        for path in ("/lots", "/lots/QW-263", "/lots/QW-249", "/lots/new", "/lots/QW-261/check", "/lots/QW-261/take"):
            page.open(path)
            width = page.page.evaluate("document.scrollingElement.scrollWidth")
            assert width <= device["viewport"]["width"], (path, locale)
