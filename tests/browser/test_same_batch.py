"""One drum, one batch: two phones that press Charge together, and a browser that is killed after it."""

import time
from pathlib import Path

import psutil
from playwright.sync_api import Browser, expect

from tests import chromium
from tests.browser.conftest import MakeScreen
from tests.browser.house import CUT_ERRORS, House, kept_live
from tests.browser.screen import PHONE, TABLET, Screen


def test_two_screens_that_press_charge_together_have_one_batch(house: House, screen: MakeScreen):
    """Neither knows of the other's tap; both are told, and the next tap of each goes to the same batch."""
    phone, tablet = screen(house.wire, PHONE), screen(house.server, TABLET)
    phone.expected = CUT_ERRORS
    kept_live(phone, house)
    tablet.open_live(house.machine)
    house.wire.cut()
    phone.context.set_offline(True)
    phone.pad("Charge")
    tablet.pad("Charge")
    house.wire.mend()
    phone.context.set_offline(False)
    expect(phone.by_id("notices")).to_contain_text("started on another page")
    expect(tablet.by_id("notices")).to_contain_text("started on a second device too")
    expect(tablet.by_id("pad-next")).to_have_text("Yellow")
    phone.pad("Yellow")
    expect(tablet.by_id("pad-next")).to_have_text("First crack")
    assert len({entry["batch"] for entry in house.said("moment")}) == 1
    assert house.server.get("/api/batches?practice=1")["total"] == 1


def test_a_browser_killed_after_charge_goes_on_without_the_server(house: House, browser: Browser, tmp_path: Path):
    """Opened again with no network it waits for yellow, not for another charge."""
    profile = tmp_path / "profile"

    def opened() -> Screen:
        options = {"executable_path": chromium.shell(), "args": chromium.FLAGS, **PHONE}
        phone = Screen(browser.browser_type.launch_persistent_context(profile, **options), house.wire.url)
        phone.expected = CUT_ERRORS
        return phone

    phone = opened()
    kept_live(phone, house)
    phone.pad("Charge")
    phone.sent()
    expect(phone.by_id("pad-next")).to_have_text("Yellow")
    time.sleep(1)
    kill(profile)
    house.wire.cut()
    phone = opened()
    phone.open(f"/machines/{house.machine}")
    expect(phone.by_id("phase")).to_contain_text("offline")
    expect(phone.by_id("pad-next")).to_have_text("Yellow")
    phone.pad("Yellow")
    house.wire.mend()
    phone.sent()
    assert [entry["body"]["moment"] for entry in house.said("moment")] == ["charge", "yellow"]
    assert len({entry["batch"] for entry in house.said("moment")}) == 1
    phone.context.close()


def kill(profile: Path) -> None:
    """End the browser of a profile as a phone without power does."""
    ours = [
        process
        for process in psutil.process_iter(["cmdline"])
        if str(profile) in " ".join(process.info["cmdline"] or [])
    ]
    assert ours
    for process in ours:
        process.kill()
    psutil.wait_procs(ours, 10)
