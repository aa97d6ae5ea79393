"""Packing by thumb: two phones and one batch, and a held batch that needs a reason."""

import re

from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE, TABLET, Screen
from tests.browser.server import Server


def weighed(server: Server) -> str:
    """A released batch of 3400 g that no other test packs; its code."""
    code = server.say("opened", coffee="Alder washed", green_g=4000)
    server.say("weighed", code, roasted_g=3400)
    server.say("released", code, decision="release")
    return code


def pack(screen: Screen, code: str, count: str) -> None:
    """Pack bags of 250 g."""
    screen.open(f"/packs/new?batch={code}")
    screen.by_id("bag").fill("250")
    screen.by_id("count").fill(count)
    expect(screen.by_id("says")).to_contain_text(f"{count} × 250")
    screen.tap("Save packing")
    expect(screen.page.get_by_role("link", name="Label", exact=True)).to_be_visible()


def test_both_devices_learn_that_they_packed_too_much(own_demo: Server, screen: MakeScreen):
    """The second in its answer, the first on the page that it still looks at."""
    code, one, other = weighed(own_demo), screen(own_demo, PHONE), screen(own_demo, TABLET)
    pack(one, code, "10")
    expect(one.page.locator("main")).not_to_contain_text("than there was")
    pack(other, code, "10")
    for device in (other, one):
        expect(device.by_id("left")).to_contain_text(re.compile(r"1.600.g more of .* than there was"))


def test_a_held_batch_is_packed_with_a_reason(own_demo: Server, screen: MakeScreen):
    """The button is off until someone allows its bags."""
    code, phone = weighed(own_demo), screen(own_demo, PHONE)
    own_demo.say("released", code, decision="hold", reason="Smoky.")
    phone.open(f"/packs/new?batch={code}")
    expect(phone.page.get_by_role("button", name="Save packing")).to_be_disabled()
    phone.page.get_by_text("Pack it anyway").tap()
    phone.page.get_by_label("Reason, saved in the batch's journal").fill("For the tasting room.")
    phone.tap("Allow bags")
    expect(phone.page.get_by_role("button", name="Save packing")).to_be_enabled()
    pack(phone, code, "2")
    expect(phone.page.locator("main")).to_contain_text(f"Batch {code} is held.")


def test_two_batches_are_blended_and_packed(own_demo: Server, screen: MakeScreen):
    """The blend is packed like a batch, under its own code."""
    codes, phone = [weighed(own_demo) for _ in range(2)], screen(own_demo, PHONE)
    phone.open("/blends/new")
    for code in codes:
        phone.by_id(f"part-{code}").fill("500")
    phone.tap("Save blend")
    expect(phone.page.get_by_role("link", name="Pack", exact=True)).to_be_visible()
    pack(phone, phone.page.url.rpartition("/")[2], "4")
    expect(phone.by_id("left")).to_contain_text("4 of 4")
