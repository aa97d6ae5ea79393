"""Two devices at one machine see and undo what either said."""

import pytest
from playwright.sync_api import expect

from tests.browser.screen import Screen


@pytest.mark.drawn
def test_both_see_and_both_undo(phone: Screen, tablet: Screen, roast: str):
    """A tap on one screen appears on the other, and an undo on either goes from both."""
    for one in (phone, tablet):
        one.open_live()
    phone.pad("Yellow")
    expect(tablet.by_id("pad-next")).to_have_text("First crack")
    expect(tablet.by_id("echo")).to_contain_text("Yellow")
    tablet.until(lambda: "yellow" in tablet.columns("marks")["label"], "not on the chart")

    tablet.tap("Log")
    line = tablet.page.locator("#log > li", has_text="Yellow")
    line.get_by_role("button", name="Undo").tap()
    expect(tablet.page.locator("#log > li:not(.undone)", has_text="Yellow")).to_have_count(0)
    expect(phone.by_id("pad-next")).to_have_text("Yellow")
    phone.until(lambda: "yellow" not in phone.columns("marks")["label"], "still on the chart")


def test_a_slap_after_an_undo_means_what_the_pad_shows(phone: Screen, roast: str):
    """A slap after an undo marks the undone moment again, and not the one after it."""
    phone.open_live()
    phone.pad("Yellow")
    phone.page.wait_for_timeout(800)  # a pad takes no second slap at once
    phone.tap("Undo", exact=True)
    expect(phone.by_id("pad-next")).to_have_text("Yellow")
    phone.by_id("pad").tap()
    expect(phone.by_id("pad-next")).to_have_text("First crack")
    expect(phone.by_id("echo")).to_contain_text("Yellow")
