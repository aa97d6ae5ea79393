"""Scripts speak the page's language too, and a phone has room for German."""

import re
import threading
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page
from werkzeug.serving import make_server

from tests.browser.screen import PHONE
from tests.conftest import Bench
from tests.languages import pseudo
from tests.languages.test_pages import DATA

SHEETS = ("trier", "aroma", "crack", "note", "log", "moment")
# Axes and labels of the canvas are no text of the page; a stage has its letter on the curve.
TEXTS = """() => [...document.querySelectorAll("body *")].flatMap((element) =>
  element.closest("script, noscript, style, code, svg, [hidden]") ? [] : [
    ...[...element.childNodes].filter(({ nodeType }) => nodeType === 3).map(({ textContent }) => textContent),
    element.getAttribute("aria-label") ?? "", element.title ?? "", element.placeholder ?? "",
  ]).filter((text) => text.trim())"""

CUT = """() => [...document.querySelectorAll("button, a, dt, dd, th, label, legend, summary, h1, h2, h3, p, strong")]
  .filter((element) => element.getClientRects().length && !element.closest(".unseen, .skip, .table, svg, [hidden]"))
  .filter((element) => getComputedStyle(element).display !== "inline" && element.scrollWidth > element.clientWidth + 1)
  .map((element) => element.textContent.trim())"""


@pytest.fixture
def address(bench: Bench) -> Iterator[str]:
    """The app of this very process on loopback, so that it may be given a language that no other knows."""
    server = make_server("127.0.0.1", 0, bench.app, threaded=True)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    thread.join(10)
    server.server_close()


def _page(browser: Browser, address: str, language: str) -> Page:
    context = browser.new_context(**PHONE, service_workers="block")
    context.add_cookies([{"name": "language", "value": language, "url": address}])
    return context.new_page()


def _forgotten(page: Page) -> set[str]:
    """Words outside of brackets, of the page as it stands now."""
    texts = "\n".join(page.evaluate(TEXTS))
    while (outside := re.sub(r"⟦[^⟦⟧]*⟧", " ", texts)) != texts:
        texts = outside
    return {word for word in re.findall(r"[^\W\d_]{2,}", texts) if word not in DATA}


def test_no_script_says_a_word_that_no_language_can_have(
    bench: Bench, browser: Browser, address: str, monkeypatch: pytest.MonkeyPatch
):
    """The live page tapped through, its sheets opened, then cut off from the server: every word stands in a bracket."""
    pseudo.speak(monkeypatch)
    code = bench.open()
    page = _page(browser, address, pseudo.CODE)
    page.goto(f"{address}/machines/drum-4")
    page.locator("#pad").click()
    page.locator("#echo-state").filter(has_text="✓").wait_for()
    for moment in ("yellow", "first_crack"):
        bench.say(bench.entry("moment", 1, batch=code, moment=moment))
    for name in SHEETS:
        page.locator(f"[data-sheet={name}]").first.click()
        found = _forgotten(page)
        page.locator(f"#sheet-{name} [data-close]").click()
        assert not found, f"{name}: {found}"
    page.locator("[data-control]").first.click()
    page.locator("#control-more").click()
    assert not _forgotten(page)
    page.locator("#sheet-control [data-close]").click()
    page.locator("#undo").click()
    page.context.set_offline(True)
    page.locator("#phase.bad").wait_for()
    page.locator("[data-sheet=crack]").click()
    page.locator("[data-vigour=steady]").click()
    assert not _forgotten(page)
    page.context.close()


def test_a_phone_has_room_for_german(bench: Bench, browser: Browser, address: str):
    """At 390 px no German page is wider than the screen, and no word is cut or runs out of its button."""
    code = bench.roast(500, lot="HU-7", green_g=2000.0)
    page = _page(browser, address, "de")
    batch, machine = f"/batches/{code}", "/machines/drum-4"
    paths = [
        "/",
        "/find",
        "/batches",
        "/more",
        "/settings",
        "/lots",
        "/machines",
        "/devices",
        "/this-device",
        "/offline",
    ]
    paths += [batch, f"{batch}/weigh", f"{batch}/label", f"{batch}/outlook", f"/compare?batches={code}", "/nowhere"]
    paths += [machine, f"{machine}/start", f"{machine}/setup", f"{machine}/channels", f"{machine}/controls"]
    for path in paths:
        page.goto(address + path)
        page.wait_for_load_state()
        assert page.evaluate("document.documentElement.lang") == "de"
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["viewport"]["width"], path
        assert page.evaluate(CUT) == [], path
    page.context.close()
