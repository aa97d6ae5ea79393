"""The size of touch targets; no word is cut off, and no page scrolls sideways.

Source: WCAG 2.2, success criteria 2.5.8 (Target Size, Minimum: 24 by 24 CSS px) and 2.5.5 (Target Size, Enhanced: 44 by
44) [memory]; both let a link within a sentence be as small as its line.
"""

import re
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE, TABLET, Screen
from tests.browser.server import Server

LEAST_PX, GLOVE_PX, BAR_PX, PAD_PX = 24, 44, 48, 120
LEAST_TYPE_PX = 13.0
SHEETS = ("log", "moment", "trier", "aroma", "crack", "note")
PAGES = (
    "/", "/find", "/scan", "/batches", "/batches?q=alder", "/more", "/lots", "/machines", "/settings", "/start",
    "/machines/drum-4/start", "/batches/{code}", "/batches/{code}/weigh", "/batches/{code}/names",
    "/batches/{code}/label", "/batches/{code}/label?size=a4-70x37", "/batches/26-1", "/nowhere",
    "/compare", "/compare?batches={code},26-1",
    "/lots/QW-263", "/lots/QW-266", "/lots/new", "/lots/closed", "/lots/QW-261/check", "/lots/QW-261/count",
    "/lots/QW-261/take", "/lots/QW-261/change", "/lots/QW-261/label",
)  # fmt: skip


def too_small(targets: list[dict[str, Any]], least_px: float) -> list[str]:
    """Targets below a size, in words; half a pixel is rounding."""
    return [
        f"{target['name']} {target['width']:.1f} × {target['height']:.1f}"
        for target in targets
        if not target["inline"] and min(target["width"], target["height"]) < least_px - 0.5
    ]


def too_fine(screen: Screen) -> list[str]:
    """Texts in type under 13 px."""
    return [f"{one['words']} {one['px']}" for one in screen.measure("texts", "body") if one["px"] < LEAST_TYPE_PX]


def outside(targets: list[dict[str, Any]], width: int, height: int) -> list[str]:
    """Targets that stand wholly or partly outside of the window."""
    return [
        f"{target['name']} {target['left']:.0f}–{target['right']:.0f} × {target['top']:.0f}–{target['bottom']:.0f}"
        for target in targets
        if target["left"] < -0.5 or target["right"] > width + 0.5 or target["bottom"] > height + 0.5
    ]


@pytest.mark.drawn
@pytest.mark.parametrize("device", [PHONE, TABLET], ids=["phone", "tablet"])
def test_targets_of_the_live_page_fit_a_glove(device: dict[str, Any], demo: Server, roast: str, screen: MakeScreen):
    """All targets of the live page and its sheets are at least 44 px, the pad 120, the bar 48, within the window."""
    live = screen(demo, device)
    live.open_live()
    size = device["viewport"]
    targets = live.measure("targets", "body")
    home = [target for target in targets if target["name"].startswith("a ") and "Four-kilo drum" in target["name"]]
    assert len(home) == 1
    assert too_small(home, LEAST_PX) == []  # the strip is thin: its link is for a thumb at rest
    assert too_small([target for target in targets if target not in home], GLOVE_PX) == []
    assert outside(targets, size["width"], size["height"]) == []
    assert [target["name"] for target in targets if target["cut"]] == []
    assert live.by_id("pad").bounding_box()["height"] >= PAD_PX
    assert too_fine(live) == []
    bar = live.measure("targets", ".bar")
    assert len(bar) == 5
    assert too_small(bar, BAR_PX) == []
    assert live.page.evaluate("[scrollX, scrollY, document.documentElement.scrollWidth]") == [0, 0, size["width"]]
    for opener in [*SHEETS, "control"]:
        check_sheet(live, opener)


def check_sheet(live: Screen, name: str) -> None:
    """Open a sheet, measure it, close it."""
    opener = "[data-control=radiant]" if name == "control" else f"[data-sheet={name}]"
    live.page.locator(opener).first.tap()
    targets = live.measure("targets", f"#sheet-{name}")
    assert targets
    assert too_small(targets, GLOVE_PX) == [], name
    assert [target["name"] for target in targets if target["cut"]] == [], name
    assert live.sheet(name).evaluate("(sheet) => sheet.scrollWidth <= sheet.clientWidth"), name
    live.tap("Close", live.sheet(name))


@pytest.mark.drawn
@pytest.mark.parametrize("size", [(390, 844), (360, 740), (844, 390), (1180, 820), (1280, 900)])
def test_the_weigh_out_after_the_drop_fits_a_glove(size: tuple[int, int], demo: Server, roast: str, screen: MakeScreen):
    """Keypad, button and cooling clock fit on the screen, 44 px each, and the curve stays in sight."""
    width, height = size
    live = screen(demo, PHONE | {"viewport": {"width": width, "height": height}})
    live.open_live()
    demo.say("moment", roast, moment="first_crack")
    demo.say("moment", roast, moment="drop")
    expect(live.page.locator("#after [data-keypad=roasted]")).to_be_visible()
    live.after_drop()
    for key in "3290":
        live.tap(key, live.page.locator("#after [data-keypad=roasted]"))
    targets = live.measure("targets", "main")
    assert too_small(targets, GLOVE_PX) == []
    assert outside(targets, width, height) == []
    assert [target["name"] for target in targets if target["cut"]] == []
    assert too_fine(live) == []
    for ident in ("cooling", "loss", "curves"):
        expect(live.by_id(ident)).to_be_in_viewport(ratio=1)
    curves = live.by_id("curves").bounding_box()
    assert curves is not None
    assert curves["height"] > 140  # room for the marks above the curves of temperatures
    assert live.page.evaluate("(main) => main.scrollHeight - main.clientHeight", live.page.query_selector("main")) <= 0


@pytest.mark.drawn
def test_no_page_scrolls_sideways(demo: Server, screen: MakeScreen):
    """At a phone's width no page is wider than it, no button's words are cut, and no target is under 24 px."""
    phone = screen(demo, PHONE)
    phone.expected = ["the server responded with a status of 404"]
    code = next(batch["code"] for batch in demo.get("/api/batches")["batches"] if batch["roasted_g"])
    for path in PAGES:
        phone.open(path.format(code=code))
        assert phone.page.evaluate("document.documentElement.scrollWidth") <= PHONE["viewport"]["width"], path
        targets = phone.measure("targets", "body")
        assert targets, path
        assert too_small(targets, GLOVE_PX) == [], path
        assert too_fine(phone) == [], path
        assert [target["name"] for target in targets if target["cut"]] == [], path
        bar = phone.page.locator(".bar")
        assert bar.count() == 1, path
        assert too_small(phone.measure("targets", ".bar"), BAR_PX) == [], path
    phone.open(f"/batches/{code}")
    phone.page.get_by_text("More with this batch").tap()
    phone.tap("Bag page")
    expect(phone.page).to_have_url(re.compile("/r/"))
    assert phone.page.evaluate("document.documentElement.scrollWidth") <= PHONE["viewport"]["width"]
