"""The switch of a record's curve: smoothed, live or both, by finger and by key, remembered on the device."""

import pytest
from playwright.sync_api import expect

from tests.browser.screen import Screen
from tests.browser.server import Server

VISIBLE = """Array.from(Bokeh.documents[0].all_models)
  .filter((model) => /^(smooth|live|both) /.test(model.name ?? "") && model.visible)
  .map((model) => model.name.split(" ")[0])"""


def drawn(screen: Screen) -> set[str]:
    """Which kinds of lines are visible."""
    return set(screen.page.evaluate(VISIBLE))


def opened(screen: Screen, code: str) -> None:
    """A record whose curve is drawn and can be switched."""
    screen.open(f"/batches/{code}")
    expect(screen.page.locator("#curve canvas").first).to_be_visible()
    screen.until(lambda: screen.page.evaluate("typeof Bokeh === 'object' && Bokeh.documents.length === 1"), "no curve")
    screen.until(lambda: screen.page.evaluate("document.getElementById('curve').dataset.drawn"), "not ready")


@pytest.mark.drawn
def test_the_curve_is_switched_without_a_reload_and_the_choice_is_kept(demo: Server, phone: Screen):
    """A tap or key switches between smooth, live and both; the choice lasts over a reload and on other records."""
    first, second = [batch["code"] for batch in demo.get("/api/batches")["batches"] if batch["roasted_g"]][:2]
    opened(phone, first)
    assert drawn(phone) == {"smooth"}
    smoothed = phone.page.get_by_role("button", name="Smoothed")
    expect(smoothed).to_have_attribute("aria-pressed", "true")

    phone.page.evaluate("window.stays = true")
    phone.tap("Live")
    assert drawn(phone) == {"live"}
    expect(phone.by_id("curve-says")).to_have_text("Bean temperatures and rates as on the live page.")
    phone.page.keyboard.press("Tab")
    phone.page.keyboard.press("Enter")
    assert drawn(phone) == {"smooth", "both"}
    expect(smoothed).to_have_attribute("aria-pressed", "false")
    assert phone.page.evaluate("window.stays") is True

    for code in (first, second):
        opened(phone, code)
        assert drawn(phone) == {"smooth", "both"}
        expect(phone.page.get_by_role("button", name="Both")).to_have_attribute("aria-pressed", "true")
    assert phone.page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.drawn
def test_forecast_errors_are_loaded_after_the_page(demo: Server, phone: Screen):
    """The table of forecast errors is fetched once the record is there, and fits a phone."""
    code = next(batch["code"] for batch in demo.get("/api/batches")["batches"] if batch["roasted_g"])
    phone.open(f"/batches/{code}")
    expect(phone.page.locator("#outlook table tbody tr").first).to_be_visible()
    expect(phone.by_id("outlook")).to_contain_text("From this roast")
    assert phone.page.evaluate("document.documentElement.scrollWidth") <= 390
