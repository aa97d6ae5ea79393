"""axe-core finds nothing on any page: on a phone, in every theme, the live page with each of its sheets.

Source: axe-core 4, its rules for WCAG 2.2 A and AA and for good practice (see `axe.py`).
"""

import io
import re
from urllib.error import HTTPError
from urllib.parse import urlencode, urlsplit
from urllib.request import urlopen

import numpy as np
import pytest
from flask import Flask
from PIL import Image
from playwright.sync_api import expect

from tests import zbar
from tests.browser.axe import unfold, violations
from tests.browser.conftest import MakeScreen
from tests.browser.screen import PHONE, Screen
from tests.browser.server import Server
from tests.web.walk import filled

SHEETS = ("log", "moment", "trier", "aroma", "crack", "note")
PARTS = 3  # of the pages, each with a test of its own: one after the other they would be what the gate waits for
# Pages that are answered, on this server, with something else than 200.
TOLD = {
    "hand_readings.keypad": 404,
    "trust.page": 404,
    "trust.authority": 404,
    "trust.profile": 404,
    "pairing.link": 422,
    "bag.photo": 404,
    "lot_files.file": 404,
    "blending.blend": 404,
    "labels.pack_label": 404,
    "labels.pack_label_file": 404,
    "packing.left": 404,
    "packing.says": 404,
    "packing.pack": 404,
    "products.edit": 404,
    "products.product": 404,
    "stock.count": 404,
    "photos.page": 404,
    "photos.show": 404,
    "photos.small": 404,
    "assets.vendor_script": 404,
}
# What one route shows in more than one way.
MORE = (
    "/nowhere", "/r/none", "/batches/26-1", "/batches?q=alder", "/batches?q=nothing", "/compare?of={code}",
    "/compare?batches={code},{other}", "/batches/{code}/label?size=a4-70x37", "/machines/drum-4/controls",
    "/machines/drum-4/controls/radiant", "/packs/new?batch={code}", "/stock/count?about=batch%20{code}",
)  # fmt: skip


def ask(url: str) -> tuple[int, str]:
    """Status and text of a page; nothing of what is no page as a whole."""
    try:
        answer = urlopen(url, timeout=10)
    except HTTPError as error:
        answer = error
    with answer:
        text = answer.read().decode() if answer.headers.get_content_type() == "text/html" else ""
        return answer.status, text if text.lower().startswith("<!doctype html") else ""


def recall(demo: Server, code: str) -> str:
    """Start the drill of a recall; returns its id."""
    sent = urlencode({"codes": code, "cause": "A drill", "drill": "on"}).encode()
    with urlopen(f"{demo.url}/recalls/new", sent, timeout=10) as answer:
        return str(answer.url).rsplit("/", 1)[1]


def pages(app: Flask, demo: Server, code: str) -> list[str]:
    """Every page that there is, its blanks filled in with what the demo has."""
    _, record = ask(f"{demo.url}/batches/{code}")
    blanks = {"machine_id": "drum-4", "code": code, "table": "channels", "part_id": "bean_probe"}
    blanks |= {"version": "v", "name": "app.css", "lot": "QW-261"}
    blanks["token"] = re.search(r"/r/([\w-]+)", record)[1]
    blanks["recall_id"] = recall(demo, code)
    found = []
    for method, path, endpoint in filled(app, blanks):
        if method == "GET":
            status, text = ask(demo.url + path)
            assert not text or status == TOLD.get(endpoint, 200), f"{path} ({endpoint}): {status}"
            found += [path] if text else []
    return found


def settle(screen: Screen) -> None:
    """Wait until the curves of the page are drawn, where it has any."""
    for place in screen.page.locator("[data-figure], #curves").all():
        expect(place.locator("canvas").first).to_be_visible()


def look(screen: Screen, paths: list[str]) -> dict[str, list[str]]:
    """What is found on those pages."""
    found = {}
    for path in paths:
        screen.open(path)
        settle(screen)
        unfold(screen.page)
        found[path] = violations(screen.page)
    wrong = {path: told for path, told in found.items() if told}
    for path, told in wrong.items():
        print(path, *told, sep="\n  ")
    return wrong


@pytest.mark.drawn
@pytest.mark.parametrize("part", range(PARTS))
def test_every_page_passes(app: Flask, demo: Server, screen: MakeScreen, part: int):
    """Each page of every route passes with a batch of the demo's week, and so do the pages of errors."""
    phone = screen(demo, PHONE)
    phone.expected = ["the server responded with a status of 4"]
    code, other = [batch["code"] for batch in demo.get("/api/batches")["batches"] if batch["roasted_g"]][:2]
    paths = pages(app, demo, code)
    assert len(paths) > 20
    paths += [path.format(code=code, other=other) for path in MORE]
    assert look(phone, paths[part::PARTS]) == {}


def test_the_pages_of_an_empty_house_pass(empty: Server, screen: MakeScreen):
    """The pages of a house without machine, batch or lot pass."""
    assert look(screen(empty, PHONE), ["/", "/batches", "/machines", "/start", "/lots", "/compare", "/weigh"]) == {}


def test_the_pairing_pages_pass(demo: Server, screen: MakeScreen):
    """The page with the code for another device passes, and so does the page that its QR leads to."""
    phone = screen(demo, PHONE)
    phone.open("/devices")
    phone.tap("Show pairing code")
    expect(phone.by_id("code")).to_be_visible()
    assert violations(phone.page) == []
    picture = Image.open(io.BytesIO(phone.page.locator("svg").first.screenshot())).convert("L")
    (link,) = zbar.read(np.asarray(picture))
    assert look(phone, [urlsplit(link).path]) == {}


def test_the_page_of_an_unpaired_device_passes(demo: Server, screen: MakeScreen):
    """The page that a device sees before it is let in passes."""
    phone = screen(demo, PHONE, extra_http_headers={"X-Forwarded-For": "192.0.2.7"})
    phone.expected = ["the server responded with a status of 401"]
    assert look(phone, ["/"]) == {}


@pytest.mark.drawn
def test_the_live_page_passes_in_all_its_states(phone: Screen, roast: str):
    """The live page passes in mid-roast, with each sheet open, and in the far view."""
    phone.open_live()
    found = {"near": violations(phone.page)}
    for opener in [*(f"[data-sheet={name}]" for name in SHEETS), "[data-control=radiant]"]:
        phone.page.locator(opener).first.tap()
        found[opener] = violations(phone.page, "dialog[open]")
        phone.tap("Close", phone.page.locator("dialog[open]"))
    phone.tap("Far view")
    found["far"] = violations(phone.page)
    phone.tap("Normal view")
    assert {state: told for state, told in found.items() if told} == {}
