"""The live page on small and large screens: the pad in sight, quick notes by one tap, and the drop counted down."""

from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE, TABLET, Screen
from tests.browser.server import Server

SIZES = {"sideways": (844, 390), "narrow": (360, 740), "twice as large": (195, 422)}


def sized(width: int, height: int) -> dict[str, Any]:
    """A phone of another size, in CSS px; half of it is a zoom of 200 %."""
    return {**PHONE, "viewport": {"width": width, "height": height}}


def is_in_sight(screen: Screen, selector: str) -> bool:
    """Whether an element stands wholly within the window."""
    box = screen.page.locator(selector).bounding_box()
    size = screen.page.viewport_size
    assert box is not None
    assert size is not None
    return box["y"] >= 0 and box["y"] + box["height"] <= size["height"] + 0.5


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_pad_and_save_are_in_sight(size: tuple[int, int], demo: Server, roast: str, screen: MakeScreen):
    """Sideways, on a narrow phone and at 200 %, neither the pad nor the button that saves a check is scrolled to."""
    live = screen(demo, sized(*size))
    live.open_live()
    assert is_in_sight(live, "#pad")
    live.page.locator("[data-sheet=trier]").tap()
    assert is_in_sight(live, "#sheet-trier [data-keep]")
    live.tap("Close", live.sheet("trier"))


def test_a_quick_note_is_one_tap(demo: Server, roast: str, phone: Screen):
    """It is stored as a note at the time of the tap, with no sheet between; the house chooses the texts."""
    phone.open_live()
    phone.page.locator("#quick-notes button").first.tap()
    expect(phone.by_id("echo")).to_contain_text("Chaff")
    phone.sent()
    (note,) = [line for line in demo.get(f"/api/batches/{roast}")["entries"] if line["kind"] == "note"]
    assert note["body"] == {"text": "Chaff"}


def test_a_check_past_brown_is_saved(demo: Server, roast: str, phone: Screen):
    """The trier goes on to dark brown and almost black."""
    phone.open_live()
    phone.page.locator("[data-sheet=trier]").tap()
    phone.page.locator("[data-stage=almost_black]").tap()
    phone.page.locator("[data-stage=almost_black]").tap()
    phone.sent()
    (check,) = [line for line in demo.get(f"/api/batches/{roast}")["entries"] if line["kind"] == "trier"]
    assert check["body"]["stage"] == "almost_black"


@pytest.mark.parametrize("device", [PHONE, TABLET], ids=["phone", "tablet"])
def test_the_drop_is_counted_down_in_large(device: dict[str, Any], demo: Server, roast: str, screen: MakeScreen):
    """After first crack the time left to the planned drop is as large as the pad's word."""
    opened = next(line["id"] for line in demo.get(f"/api/batches/{roast}")["entries"] if line["kind"] == "opened")
    demo.say("amend", roast, entry=opened, body={"plan": {"development_s": 600}})
    demo.say("moment", roast, moment="first_crack")
    live = screen(demo, device)
    live.open_live()
    expect(live.by_id("pad-next")).to_have_text("Drop")
    expect(live.by_id("pad-left")).to_contain_text("in ")
    tops = live.page.locator("#three > div").evaluate_all("(all) => all.map((one) => one.getBoundingClientRect().top)")
    assert len({*tops}) == 1  # the development takes no second row
    sizes = [
        live.by_id(ident).evaluate("(one) => getComputedStyle(one).fontSize") for ident in ("pad-next", "pad-left")
    ]
    assert sizes[0] == sizes[1]


def test_a_missing_first_crack_is_asked_for_at_the_drop(demo: Server, roast: str, phone: Screen):
    """After a drop without first crack the page leads to the form that adds it; with one it does not ask."""
    phone.open_live()
    demo.say("moment", roast, moment="drop")
    asks = phone.by_id("add-crack")
    expect(asks).to_be_visible()
    demo.say("moment", roast, moment="first_crack")
    expect(asks).to_be_hidden()
    assert str(asks.get_attribute("href")) == f"/batches/{roast}?add=first_crack#add"
