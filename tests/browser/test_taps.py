"""Taps counted by the page itself: from Today to a named charge, and from the drop to the print and the next batch."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE, Screen
from tests.browser.server import Server

COUNT_TAPS = """document.addEventListener("pointerdown", (event) => {
  if (event.isTrusted) sessionStorage.setItem("taps", 1 + Number(sessionStorage.getItem("taps")));
}, true);"""
NOTE_PRINTS = """window.print = () => sessionStorage.setItem("printed",
  `${sessionStorage.getItem("printed") ?? ""}${location.pathname} after ${sessionStorage.getItem("taps")} taps. `);"""
FACTS = {"lot": "HU-7", "coffee": "Alder washed", "green_g": 3850.0, "intent": "filter"}


@pytest.fixture
def server(furnished: Path, tmp_path: Path) -> Iterator[Server]:
    """A server with one machine, on which two coffees were roasted, the washed one last."""
    server = Server.start(shutil.copytree(furnished, tmp_path / "data"), "serve", drawn=False)
    for facts in ({"coffee": "Linden natural", "green_g": 3000.0, "intent": "espresso"}, FACTS):
        code = server.say("opened", **facts)
        for moment in ("charge", "drop"):
            server.say("moment", code, moment=moment)
    yield server
    assert server.stop() == []


@pytest.fixture
def phone(server: Server, screen: MakeScreen) -> Screen:
    """A phone on Today, which counts its taps and notes its prints from now on."""
    phone = screen(server, PHONE)
    phone.page.add_init_script(COUNT_TAPS)
    phone.page.add_init_script(NOTE_PRINTS)
    phone.open("/")
    return phone


def taps(page: Page) -> int:
    """Taps on any page since the first one was opened."""
    return int(page.evaluate("sessionStorage.getItem('taps')") or 0)


def charge(phone: Screen, server: Server) -> dict[str, object]:
    """Tap the pad, and wait for the batch in the drum; its facts."""
    phone.pad("Charge")
    phone.sent()
    batch = server.get("/machines/drum-4/view")["batch"]
    assert batch["state"] == "roasting"
    facts: dict[str, object] = batch["facts"]
    return facts


def test_the_same_coffee_again_is_charged_in_three_taps(phone: Screen, server: Server):
    """From Today: Start a batch, Start, Charge; the batch has lot, coffee, weight and purpose of the last one."""
    phone.tap("Start a batch")
    expect(phone.page.get_by_role("button", name="Start", exact=True)).to_be_in_viewport(ratio=1)
    phone.tap("Start")
    assert charge(phone, server) == FACTS
    assert taps(phone.page) == 3


def test_another_recent_coffee_is_charged_in_four_taps(phone: Screen, server: Server):
    """From Today: Start a batch, Same as, Start, Charge; no link of “Same as” is smaller than a finger."""
    phone.tap("Start a batch")
    links = phone.page.locator(".same-as a")
    expect(links).to_have_count(3)
    for link in links.all():
        box = link.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= 44  # the target size of WCAG 2.2, success criterion 2.5.5 [memory]
    links.filter(has_text="Linden natural").tap()
    expect(links.nth(1)).to_have_attribute("aria-current", "true")
    phone.tap("Start")
    assert charge(phone, server) == {"coffee": "Linden natural", "green_g": 3000.0, "intent": "espresso"}
    assert taps(phone.page) == 4


def set_address(phone: Screen, base: str) -> None:
    """Set the address of the codes."""
    phone.open("/settings")
    phone.by_id("url_base").fill(base)
    phone.tap("Save settings")
    expect(phone.page.get_by_role("status")).to_contain_text("Saved")


def dropped(phone: Screen, server: Server) -> str:
    """A batch that was just dropped on the live page, from where taps are counted; its code."""
    code = server.say("opened", **FACTS)
    server.say("moment", code, moment="charge")
    phone.open("/machines/drum-4")
    phone.page.locator("#actions-idle").get_by_role("button", name="Other moment").tap()
    phone.sheet("moment").locator("[data-moment=drop]").tap()
    expect(phone.by_id("cooling")).to_contain_text("Cooling")
    phone.sent()
    phone.page.evaluate("sessionStorage.clear()")
    return code


def weigh_and_release(phone: Screen, code: str) -> None:
    """Weigh out by the keypad, release and print; then the label page is there."""
    phone.tap("Weigh out")
    for key in "3290":
        phone.tap(key, phone.page.locator("[data-keypad=roasted]"))
    phone.tap("Release and print label")
    expect(phone.page.get_by_role("heading", name=f"Label {code}")).to_be_visible()


def printed(phone: Screen) -> str | None:
    """Each page that was printed, with the taps before it."""
    said: str | None = phone.page.evaluate("sessionStorage.getItem('printed')")
    return said


def test_a_label_is_printed_two_taps_and_a_weight_after_the_drop(phone: Screen, server: Server):
    """Weigh out, four digits, Release and print label: it prints at once, once; then one tap starts the next batch."""
    set_address(phone, "https://coffee.example")
    phone.open(f"/batches/{server.get('/api/batches')['batches'][0]['code']}/label")
    phone.by_id("bag").fill("250")
    phone.tap("Update preview")
    expect(phone.page.locator(".label-page text").filter(has_text="250 g")).to_have_count(1)
    code = dropped(phone, server)
    weigh_and_release(phone, code)
    phone.until(lambda: printed(phone), "not printed")
    assert phone.page.locator(".label-page").count() == 13  # 3290 ÷ 250 = 13.16
    batch = server.get(f"/api/batches/{code}")
    assert (batch["state"], batch["metrics"]["roasted_g"]) == ("released", 3290.0)
    assert printed(phone) == f"/batches/{code}/label after 6 taps. "
    phone.page.reload()
    expect(phone.page.get_by_role("button", name="Print", exact=True)).to_be_visible()
    phone.page.wait_for_timeout(1000)  # for what might print again
    assert printed(phone) == f"/batches/{code}/label after 6 taps. "
    phone.tap("Next batch")
    expect(phone.by_id("lot")).to_have_value("HU-7")
    assert taps(phone.page) == 7


def test_a_code_that_no_phone_can_open_is_not_printed_at_once(phone: Screen, server: Server):
    """With the address of this computer alone the label page says so loudly, and prints only when tapped."""
    code = dropped(phone, server)
    weigh_and_release(phone, code)
    expect(phone.page.get_by_role("alert")).to_contain_text("No phone can open this code.")
    expect(phone.page.get_by_role("alert")).to_be_in_viewport(ratio=1)
    phone.page.wait_for_timeout(1000)  # for what might print
    assert printed(phone) is None
    phone.tap("Print anyway")
    phone.until(lambda: printed(phone), "not printed")
