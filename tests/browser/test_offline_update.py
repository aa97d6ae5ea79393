"""An update of Drumside while pages are open: waiting taps stay, and no open page is reloaded."""

import shutil
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.house import CUT_ERRORS, House, kept_live, kept_paths
from tests.browser.screen import PHONE
from tests.browser.test_offline_taps import TAP
from tests.checkout import ROOT

NAMES = "caches.keys()"
PARTS = ("roastlog", "templates", "static", "demo")


@pytest.mark.drawn
def test_an_update_keeps_the_outbox(house: House, screen: MakeScreen, tmp_path: Path):
    """Waiting taps outlast a change of the worker; old files go, the open page stays, the next page is the new one."""
    phone = screen(house.wire, PHONE)
    phone.expected = CUT_ERRORS
    kept_live(phone, house)
    phone.pad("Charge")
    phone.sent()
    before = phone.page.evaluate(NAMES)
    house.stop()
    phone.page.evaluate(TAP, [0, 5])
    expect(phone.by_id("waiting")).to_have_text("5 waiting")
    phone.page.evaluate("globalThis.sameAsEver = true")
    phone.context.route("**/api/entries", lambda route: route.abort())  # they still wait when the newer worker comes
    house.start(newer(tmp_path / "newer"))
    phone.until(lambda: not set(phone.page.evaluate(NAMES)) & set(before), "the old files are still kept")

    expect(phone.by_id("waiting")).to_have_text("5 waiting")
    assert phone.page.evaluate("globalThis.sameAsEver")
    phone.tap("Log")
    expect(phone.by_id("newer")).to_be_visible()
    phone.tap("Close", phone.sheet("log"))
    phone.context.unroute("**/api/entries")
    expect(phone.by_id("waiting")).to_have_text("0 waiting")
    assert [entry["body"]["text"] for entry in house.said("note")] == [f"tap {tap}" for tap in range(5)]
    assert phone.page.evaluate("globalThis.sameAsEver")

    assert f"/machines/{house.machine}" in kept_paths(phone)  # made anew with the newer files
    house.wire.cut()
    phone.context.set_offline(True)
    phone.page.reload()
    expect(phone.by_id("phase")).to_contain_text("offline")
    assert phone.page.evaluate("getComputedStyle(document.documentElement).getPropertyValue('--newer')") == "1"
    phone.pad("Yellow")
    house.wire.mend()
    phone.context.set_offline(False)
    expect(phone.by_id("waiting")).to_have_text("0 waiting")


def test_taps_are_sent_with_no_page_open(house: House, screen: MakeScreen):
    """With Background Sync, the worker sends waiting taps after the page was closed."""
    phone = screen(house.wire, PHONE)
    phone.expected = CUT_ERRORS
    kept_live(phone, house)
    phone.pad("Charge")
    phone.sent()
    house.wire.cut()
    phone.page.evaluate(TAP, [0, 3])
    expect(phone.by_id("waiting")).to_have_text("3 waiting")
    phone.page.goto("about:blank")
    house.wire.mend()
    session = phone.context.new_cdp_session(phone.page)
    registrations: list[str] = []
    session.on(
        "ServiceWorker.workerRegistrationUpdated",
        lambda told: registrations.extend(one["registrationId"] for one in told["registrations"]),
    )
    session.send("ServiceWorker.enable")
    phone.until(lambda: registrations, "no worker is told of")
    sync = {"origin": house.wire.url, "registrationId": registrations[0], "tag": "taps", "lastChance": True}
    session.send("ServiceWorker.dispatchSyncEvent", sync)
    house.server.until(lambda: len(house.said("note")) == 3, "the worker sent nothing")


def newer(root: Path) -> Path:
    """A checkout that differs from this one by a style."""
    for part in PARTS:
        shutil.copytree(ROOT / part, root / part, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "app.py", root)
    with (root / "static" / "live.css").open("a", encoding="utf-8") as sheet:
        sheet.write(":root { --newer: 1; }\n")
    return root
