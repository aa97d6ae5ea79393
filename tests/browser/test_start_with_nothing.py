"""An empty folder: the first steps, and a roast without a plan."""

from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE
from tests.browser.server import Server


def test_begin_with_nothing(empty: Server, screen: MakeScreen):
    """An empty house shows all ways to add a machine; a slap on the practice machine opens a batch, named later."""
    phone = screen(empty, PHONE)
    phone.open("/")
    ways = phone.by_id("ways")
    for name in ("Create", "Practise on a simulated machine", "Add from the file"):
        expect(ways.get_by_role("button", name=name)).to_be_visible()
    expect(ways.get_by_text("Paste a sheet")).to_be_visible()
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
