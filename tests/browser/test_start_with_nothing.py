"""An empty folder: the first steps, and a roast without a plan."""

from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE
from tests.browser.server import Server


def test_begin_with_nothing(empty: Server, screen: MakeScreen):
    """An empty house explains how to add a machine; a slap on the practice machine opens a batch, named later."""
    phone = screen(empty, PHONE)
    phone.open("/")
    ways = phone.page.get_by_role("main").get_by_role("listitem")
    assert ways.count() == 3
    assert "sheet" in ways.nth(0).inner_text()
    assert "Practise on a simulated machine" in ways.nth(2).inner_text()
    for link in ways.get_by_role("link").all():
        assert phone.page.locator(str(link.get_attribute("href"))).count() == 1
    phone.tap("Practise on a simulated machine", phone.page.locator("form#practise"))
    phone.settled()

    machine = empty.get("/healthz")["machines"][0]["id"]
    assert empty.get(f"/machines/{machine}/view")["batch"] is None
    phone.pad("Charge")
    phone.sent()
    batch = phone.until(lambda: empty.get(f"/machines/{machine}/view")["batch"], "no batch was opened")
    assert batch["state"] == "roasting"
    assert batch["facts"] == {}
    expect(phone.by_id("pad-next")).to_have_text("Yellow")

    phone.open(f"/batches/{batch['code']}")
    phone.tap("Name it")
    phone.page.get_by_label("Coffee").fill("Kitchen <b>trial</b>")
    phone.page.get_by_label("Green weight").fill("1,2")
    phone.tap("Save")
    phone.settled()  # it is under way, so its live page comes next
    named = empty.get(f"/machines/{machine}/view")["batch"]
    assert (named["code"], named["title"], named["green_g"]) == (batch["code"], "Kitchen <b>trial</b>", 1200.0)
    phone.open("/")
    expect(phone.page.get_by_role("link", name="Kitchen <b>trial</b>")).to_be_visible()
