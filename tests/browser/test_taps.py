"""Taps counted by the page itself: from Today to a named charge, and from the drop to the print and the next batch."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import MakeScreen
from tests.browser.screen import ELSEWHERE, PHONE, Screen
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
    phone.after_drop()
    phone.page.evaluate("sessionStorage.clear()")
    return code


def weigh(phone: Screen, save: str) -> None:
    """Weigh out by the keypad of the live page, and save; the loss is there as it is typed."""
    for key in "3290":
        phone.tap(key, phone.page.locator("#after [data-keypad=roasted]"))
    expect(phone.by_id("loss")).to_have_text("14.5 % loss")  # 1 − 3290/3850 = 0.14545
    phone.tap(save)


def weigh_and_release(phone: Screen, code: str) -> None:
    """Weigh out, release and print; then the label page is there."""
    weigh(phone, "Release and print label")
    expect(phone.page.get_by_role("heading", name=f"Label {code}")).to_be_visible()


def printed(phone: Screen) -> str | None:
    """Each page that was printed, with the taps before it."""
    said: str | None = phone.page.evaluate("sessionStorage.getItem('printed')")
    return said


def test_a_label_is_printed_five_taps_after_the_drop(phone: Screen, server: Server):
    """Four digits, Release and print label: it prints at once, once; then one tap starts the next batch."""
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
    assert printed(phone) == f"/batches/{code}/label after 5 taps. "
    phone.page.reload()
    expect(phone.page.get_by_role("button", name="Print", exact=True)).to_be_visible()
    phone.page.wait_for_timeout(1000)  # for what might print again
    assert printed(phone) == f"/batches/{code}/label after 5 taps. "
    phone.tap("Next batch")
    expect(phone.by_id("lot")).to_have_value("HU-7")
    assert taps(phone.page) == 6


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


def test_a_weight_without_the_server_waits_like_a_tap(phone: Screen, server: Server):
    """It is saved on the phone, the page is free for the next charge and stays open, and the server gets it later."""
    phone.expected = ["ERR_INTERNET_DISCONNECTED"]
    code = dropped(phone, server)
    expect(phone.page.locator("#after [data-keypad=roasted]")).to_be_visible()
    phone.context.set_offline(offline=True)
    weigh(phone, "Release and print label")
    expect(phone.by_id("notices")).to_contain_text("3290 g saved on this device.")
    expect(phone.by_id("pad-next")).to_have_text("Charge")
    phone.context.set_offline(offline=False)
    phone.until(lambda: server.get(f"/api/batches/{code}")["state"] == "released", "not released")
    assert phone.page.url.endswith("/machines/drum-4")


def test_an_undone_weight_can_be_typed_again(phone: Screen, server: Server):
    """Undo on the live page takes back the release, then the weight; the keypad is there again."""
    code = dropped(phone, server)
    weigh_and_release(phone, code)
    phone.open("/machines/drum-4")
    expect(phone.by_id("pad")).to_be_visible()
    for state in ("weighed", "cooling"):
        phone.tap("Undo")
        phone.until(lambda state=state: server.get(f"/api/batches/{code}")["state"] == state, f"not {state}")  # type: ignore[misc]
    expect(phone.page.locator("#after [data-keypad=roasted]")).to_be_visible()


def test_a_device_without_the_right_to_release_saves_the_weight_alone(server: Server, screen: MakeScreen):
    """A device that may only operate has “Save weight” in the same place: the batch is weighed and its record opens."""
    phone = screen(server, PHONE, extra_http_headers=ELSEWHERE)
    phone.expected = ["status of 401", "Status Error Code 401"]  # before it is paired
    phone.pair(server.code("operate"))
    code = dropped(phone, server)
    weigh(phone, "Save weight")
    expect(phone.page).to_have_url(re.compile(f"/batches/{code}$"))
    assert server.get(f"/api/batches/{code}")["state"] == "weighed"


def test_saving_without_a_weight_stays_on_the_page(phone: Screen, server: Server):
    """“Release and print label” with no digit typed says what is missing; nothing is entered."""
    code = dropped(phone, server)
    phone.tap("Release and print label")
    expect(phone.by_id("after").get_by_role("alert")).to_have_text("Roasted weight must be more than 0.")
    phone.tap("3", phone.page.locator("#after [data-keypad=roasted]"))
    expect(phone.by_id("after").get_by_role("alert")).to_have_count(0)
    assert server.get(f"/api/batches/{code}")["state"] == "cooling"


def test_the_finger_that_drops_does_not_save(phone: Screen, server: Server):
    """The tap that marks the drop on the pad, in the place where the keypad then comes, types and saves nothing."""
    code = server.say("opened", **FACTS)
    for moment in ("charge", "yellow", "first_crack"):
        server.say("moment", code, moment=moment)
    phone.open("/machines/drum-4")
    expect(phone.by_id("pad-next")).to_have_text("Drop")
    phone.until(lambda: phone.page.locator("#weigh-out form").count(), "the form was not fetched")
    box = phone.by_id("pad").bounding_box()
    assert box is not None
    phone.page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + 0.7 * box["height"])
    expect(phone.by_id("cooling")).to_contain_text("Cooling")
    phone.sent()
    phone.page.wait_for_timeout(300)  # for what might follow
    assert phone.page.url.endswith("/machines/drum-4")
    assert phone.by_id("roasted").input_value() == ""
    assert phone.by_id("after").get_by_role("alert").count() == 0
