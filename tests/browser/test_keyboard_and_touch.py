"""The live page by keyboard, and scrolling by touch."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.screen import Screen
from tests.browser.server import Server

NAME = """() => { const at = document.activeElement;
  return at.id || at.dataset.sheet || at.dataset.control || at.innerText.trim() || at.className || at.tagName; }"""
SCROLLED = "document.querySelector('.page').scrollTop"
REACHED = {"pad", "undo", "trier", "aroma", "crack", "note", "log", "moment", "hot_air", "radiant", "drum_heat", "stir"}


def test_live_page_by_keyboard(demo: Server, tablet: Screen, roast: str):
    """Tab reaches pad, bar and controls; Enter slaps the pad; Escape closes a sheet and returns the focus."""
    tablet.open_live()
    reached: list[str] = []
    while len(reached) < 40 and (not reached or reached[-1] != reached[0] or len(reached) == 1):
        tablet.page.keyboard.press("Tab")
        reached.append(tablet.page.evaluate(NAME))
    assert set(reached) >= REACHED, reached
    for name in sorted(REACHED & {"trier", "aroma", "crack", "note", "log", "moment"}):
        tablet.page.locator(f"[data-sheet={name}]").focus()
        tablet.page.keyboard.press("Enter")
        expect(tablet.sheet(name)).to_be_visible()
        tablet.page.keyboard.press("Escape")
        expect(tablet.sheet(name)).to_be_hidden()
        assert tablet.page.evaluate(NAME) == name
    tablet.by_id("pad").focus()
    tablet.page.keyboard.press("Enter")
    expect(tablet.by_id("pad-next")).to_have_text("First crack")
    tablet.sent()
    assert "yellow" in demo.get(f"/api/batches/{roast}")["moments"]


@pytest.mark.drawn
def test_chart_lets_fingers_scroll(demo: Server, phone: Screen, roast: str):
    """No part of the live chart takes a swipe, and a swipe over a record's chart scrolls the page."""
    phone.open_live()
    assert set(phone.measure("touchActions", "#curves")) <= {"auto", "pan-y", "manipulation"}
    code = next(batch["code"] for batch in demo.get("/api/batches")["batches"] if batch["roasted_g"])
    phone.open(f"/batches/{code}")
    chart = phone.page.locator("#curve[data-drawn]")
    expect(chart).to_be_visible()
    chart.scroll_into_view_if_needed()
    before_px = phone.page.evaluate(SCROLLED)
    box = chart.bounding_box()
    assert box is not None
    swipe(
        phone, x=box["x"] + box["width"] / 2, from_y=box["y"] + 0.8 * box["height"], to_y=box["y"] + 0.2 * box["height"]
    )
    phone.until(lambda: phone.page.evaluate(SCROLLED) > before_px + 20, "the page did not scroll")


def test_going_back_restores_the_scroll_position(demo: Server, phone: Screen):
    """Back from a record, a long list stands where it was left, with its bar in sight."""
    phone.open("/batches")
    row = phone.page.locator("a[href^='/batches/']").last
    row.scroll_into_view_if_needed()
    left_px = phone.page.evaluate(SCROLLED)
    assert left_px > 200
    expect(phone.page.get_by_role("navigation", name="Drumside")).to_be_in_viewport(ratio=1)
    row.tap()
    expect(phone.page).to_have_url(re.compile(r"/batches/\d"))
    assert phone.page.evaluate(SCROLLED) == 0
    phone.page.go_back()
    expect(phone.page).to_have_url(re.compile(r"/batches$"))
    phone.until(lambda: abs(phone.page.evaluate(SCROLLED) - left_px) < 2, "the place was lost")


def swipe(phone: Screen, *, x: float, from_y: float, to_y: float) -> None:
    """A finger that is put down, drawn and lifted."""
    devtools = phone.context.new_cdp_session(phone.page)
    steps = [from_y + (to_y - from_y) * step / 10 for step in range(11)]
    for index, y in enumerate(steps):
        kind = "touchStart" if index == 0 else "touchMove"
        devtools.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
        phone.page.wait_for_timeout(16)
    devtools.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
