"""The comparison page in a browser: selection, overlay and alignment of batches."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser.screen import Screen
from tests.browser.server import Server


@pytest.mark.drawn
def test_batches_are_chosen_and_laid_on_each_other(demo: Server, phone: Screen):
    """A record leads to its overlay; batches are added by search and box, aligned anew, and readable in each theme."""
    roasted = [batch for batch in demo.get("/api/batches")["batches"] if batch["roasted_g"]]
    code = next(batch["code"] for batch in roasted if batch["coffee"] == "Alder washed")
    phone.open(f"/batches/{code}")
    phone.tap("Compare")
    expect(phone.page.locator("#overlay canvas").first).to_be_visible()
    expect(phone.page.locator(".keys > li")).to_have_count(2)  # the batch of that coffee before it is the guide

    phone.page.get_by_label("Code, coffee, lot or purpose").fill("Night")
    expect(phone.page.locator("#offered legend")).to_have_text("With “Night”")
    phone.page.locator("#offered label").first.tap()
    with phone.page.expect_navigation():
        phone.tap("Compare")
    expect(phone.page.locator(".keys > li")).to_have_count(3)
    with phone.page.expect_navigation():
        phone.tap("At equal temperature")
    expect(phone.page).to_have_url(re.compile(r"/compare\?batches=[^&]+,[^&]+,[^&]+&align=temperature"))
    expect(phone.page.locator("#overlay canvas").first).to_be_visible()
    assert phone.page.evaluate("document.documentElement.scrollWidth") <= 390

    lines = "Bokeh.documents[0].all_models, (m) => m.type === 'Line' && JSON.stringify(m.line_color)"
    colors = phone.page.evaluate(f"Array.from({lines}).filter(Boolean)")
    phone.page.evaluate(
        "document.documentElement.dataset.theme = 'dark'; document.dispatchEvent(new CustomEvent('themechange'))"
    )
    repainted = phone.page.evaluate(f"Array.from({lines}).filter(Boolean)")
    assert len(colors) == len(repainted) == 5  # three rates, two differences
    assert not set(colors) & set(repainted)


def test_the_comparison_works_without_javascript(demo: Server, screen):
    """Without JavaScript the page has legend, reasons, tables and choice, and the choice works."""
    codes = [batch["code"] for batch in demo.get("/api/batches")["batches"] if batch["roasted_g"]][:2]
    plain = screen(demo, {"viewport": {"width": 1180, "height": 820}}, java_script_enabled=False)
    plain.open(f"/compare?batches={codes[0]}")
    plain.page.locator(f"input[value='{codes[1]}']").check()
    plain.page.get_by_role("button", name="Compare").click()
    expect(plain.page).to_have_url(re.compile(f"batches={codes[0]},{codes[1]}$"))
    expect(plain.page.get_by_role("heading", name="Main differences")).to_be_visible()
    expect(plain.page.get_by_role("row", name=re.compile("^First crack"))).to_have_count(3)
