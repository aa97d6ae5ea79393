"""Pairing of a device: the owner shows a code or QR, the device uses it, and is cut off."""

import io
from typing import Final
from urllib.parse import urlsplit

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import expect

from tests import zbar
from tests.browser.conftest import MakeScreen
from tests.browser.house import kept_paths
from tests.browser.screen import ELSEWHERE, PHONE, TABLET, Screen
from tests.browser.server import Server

# One that came through a proxy is a stranger to the server until it is let in: roastlog/web/http/security.py.
NOT_LET_IN: Final = ("status of 401", "Status Error Code 401")  # a page's, and of the numbers of Today


@pytest.fixture
def owner(demo: Server, screen: MakeScreen) -> Screen:
    """The owner's tablet: this computer itself."""
    return screen(demo, TABLET)


@pytest.fixture
def stranger(demo: Server, screen: MakeScreen) -> Screen:
    """A phone that the server does not know."""
    phone = screen(demo, PHONE, extra_http_headers=ELSEWHERE)
    phone.expected = [*NOT_LET_IN]
    return phone


def invite(owner: Screen, role: str, *, name: str = "", person: str = "") -> str:
    """Show a code for a device; the code, as it is read out."""
    owner.open("/devices")
    form = owner.page.locator('form[action="/devices/invite"]')
    form.locator(f"input[value={role}]").check()
    form.get_by_text("Name and person").tap()
    owner.by_id("new-name").fill(name)
    if person:
        owner.by_id("new-person").select_option(person)
    owner.tap("Show pairing code")
    return owner.by_id("code").inner_text()


def type_code(stranger: Screen, code: str, name: str) -> None:
    """Open the app and type the code that somebody reads out."""
    stranger.pair(code, name)


def cut_off(owner: Screen, name: str) -> None:
    """Cut a device off, in the list."""
    owner.open("/devices")
    owner.page.locator("details.device", has_text=name).locator("summary").tap()
    owner.tap(f"Remove {name}")
    expect(owner.page.locator("details.device", has_text=name)).to_have_count(0)


def test_a_code_lets_in_an_operator_who_taps_until_cut_off(owner: Screen, stranger: Screen, roast: str):
    """A paired operator's taps carry device and person; a tap after the cut-off is kept until it is let in again."""
    type_code(stranger, invite(owner, "operate", name="Bench phone", person="Wren"), "Some phone")
    expect(owner.by_id("waiting")).to_contain_text("Used or expired.")
    stranger.open_live()
    stranger.pad("Yellow")
    stranger.sent()
    said = [one for one in entries(owner, roast) if one["body"].get("moment") == "yellow"]
    assert [one["by"] for one in said] == [{"person": "Wren", "device": "Bench phone"}]

    cut_off(owner, "Bench phone")
    expect(stranger.by_id("trouble")).to_contain_text("no longer paired")
    expect(stranger.by_id("phase")).to_have_text("▲ not paired")
    stranger.pad("First crack")
    expect(stranger.by_id("waiting")).to_have_text("1 waiting")

    code = invite(owner, "operate", name="Bench phone again")
    stranger.tap("Pair again")
    stranger.page.get_by_label("Code, six digits").fill(code)
    stranger.tap("Pair this device")
    expect(stranger.page.get_by_role("heading", level=1)).to_have_text("Today")
    stranger.open_live()
    expect(stranger.by_id("waiting")).to_have_text("0 waiting")
    expect(stranger.by_id("trouble")).to_be_hidden()
    said = [one for one in entries(owner, roast) if one["body"].get("moment") == "first_crack"]
    assert [one["by"]["device"] for one in said] == ["Bench phone again"]


@pytest.mark.drawn
def test_a_link_lets_in_a_screen_that_only_looks(owner: Screen, stranger: Screen, roast: str):
    """The QR lets in a screen that only looks: its live page takes no tap; a page for other roles says why not."""
    assert roast
    invite(owner, "look", name="Wall screen")
    picture = Image.open(io.BytesIO(owner.page.locator(".invitation-qr svg").screenshot())).convert("L")
    (link,) = zbar.read(np.asarray(picture))
    stranger.open(urlsplit(link).path)
    stranger.tap("Pair this device")
    expect(stranger.page.get_by_role("heading", level=1)).to_have_text("Today")
    expect(stranger.page.get_by_role("link", name="Start", exact=True)).to_have_count(0)

    stranger.open_live()
    for hidden in ("#pad", "#controls", "[data-sheet=moment]", "[data-sheet=trier]", "#undo"):
        expect(stranger.page.locator(hidden)).to_be_hidden()
    curves, screen_px = stranger.by_id("curves").bounding_box(), PHONE["viewport"]["height"]
    assert curves is not None
    assert curves["height"] > screen_px / 2  # what the hand's part leaves is theirs

    stranger.expected += ["status of 403"]
    stranger.open("/machines/drum-4/start")
    expect(stranger.page.get_by_role("heading", level=1)).to_have_text("Not allowed on this device")
    told = stranger.by_id("main").inner_text()
    assert "This needs the role “operate”; this device has the role “look”." in told
    assert (
        "What still works: This device is still paired, with the role look: sees everything, changes nothing." in told
    )
    assert "What to do: Ask the owner to change this device's role under More, Devices." in told
    stranger.tap("Records")
    expect(stranger.page.get_by_role("heading", level=1)).to_have_text("Records")

    stranger.open_live()
    cut_off(owner, "Wall screen")
    expect(stranger.by_id("trouble")).to_contain_text("no longer paired")
    expect(stranger.page.get_by_role("link", name="Pair again")).to_have_attribute("href", "/pair")


def test_a_used_code_is_refused_in_words(owner: Screen, demo: Server, stranger: Screen, screen: MakeScreen):
    """A second phone with a used code is told why and what to do, and its input stays."""
    code = invite(owner, "look", name="First of two")
    type_code(stranger, code, "First")
    second = screen(demo, PHONE, extra_http_headers=ELSEWHERE)
    second.expected = [*NOT_LET_IN, "status of 422"]
    second.open("/pair")
    second.page.get_by_label("Code, six digits").fill(code)
    second.tap("Pair this device")
    expect(second.page.get_by_role("alert")).to_contain_text("already used")
    expect(second.page.get_by_role("alert")).to_contain_text("Ask for a new one.")
    expect(second.page.get_by_label("Code, six digits")).to_have_value(code)
    cut_off(owner, "First of two")


def test_a_new_token_is_shown_at_the_top(owner: Screen):
    """A new token, shown once, stands at the top of the page, not below the fold."""
    owner.open("/devices")
    owner.page.get_by_text("A token for a program").tap()
    owner.by_id("program").fill("Gas meter")
    owner.tap("Create token")
    expect(owner.by_id("told")).to_be_in_viewport(ratio=1)
    owner.tap("Revoke Gas meter")


def entries(owner: Screen, code: str) -> list[dict[str, dict[str, str]]]:
    """All that was said of a batch."""
    found: list[dict[str, dict[str, str]]] = owner.page.request.get(f"{owner.url}/api/batches/{code}").json()["entries"]
    return found


ITEMS: Final = """async () => {
    const kept = Object.keys(localStorage);
    for (const { name } of await indexedDB.databases()) {
        const database = await new Promise((resolve) => {
            const request = indexedDB.open(name);
            request.onsuccess = () => resolve(request.result);
        });
        for (const store of database.objectStoreNames) {
            const request = database.transaction(store).objectStore(store).getAllKeys();
            kept.push(...(await new Promise((resolve) => (request.onsuccess = () => resolve(request.result)))));
        }
        database.close();
    }
    return kept;
}"""  # all that this browser keeps of Drumside but its cached pages


def test_a_device_forgets_itself(owner: Screen, stranger: Screen, roast: str):
    """It says how many taps wait and asks; without the server nothing goes; then all that it kept is gone."""
    assert roast
    type_code(stranger, invite(owner, "operate", name="Lent phone"), "Some phone")
    stranger.open_live()
    stranger.context.route("**/api/entries", lambda route: route.abort())
    stranger.expected += ["ERR_FAILED"]
    stranger.pad("Yellow")
    expect(stranger.by_id("waiting")).to_have_text("1 waiting")
    stranger.open("/this-device")
    stranger.page.evaluate("document.cookie = 'who=Wren; path=/'")  # as forms do
    stranger.tap("Forget this device")
    expect(stranger.by_id("forget-said")).to_contain_text("1 entry on this device")
    assert stranger.page.evaluate(ITEMS)

    stranger.context.route("**/devices/leave", lambda route: route.abort())
    stranger.tap("Forget this device anyway")
    expect(stranger.by_id("forget-said")).to_contain_text("this device stays paired")
    assert stranger.page.evaluate(ITEMS)

    stranger.context.unroute("**/devices/leave")
    stranger.tap("Forget this device anyway")
    expect(stranger.page.get_by_label("Code, six digits")).to_be_visible()
    cookies = [cookie["name"] for cookie in stranger.context.cookies()]
    assert cookies == []
    assert stranger.page.evaluate(ITEMS) == []  # the page to pair opens the queues anew, and they are empty
    assert not [path for path in kept_paths(stranger) if path in {"/", "/machines/drum-4", "/this-device"}]
    owner.open("/devices")
    expect(owner.page.locator("details.device", has_text="Lent phone")).to_have_count(0)
