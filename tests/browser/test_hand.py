"""The live page in use: keys and pedals, the first tap, sound, holding to discard, the table, and the far view.

Normal sight (20/20) makes out a letter of five minutes of arc [memory, ISO 8596]; two to three times that is a common
rule for reading at a glance [memory].
"""

import math
import re
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.house import CUT_ERRORS, House
from tests.browser.screen import PHONE, TABLET, Screen
from tests.browser.server import Server

# Real tones, counted as they start; and what the page asks the motor for.
LISTEN = """globalThis.heard = []; globalThis.felt = [];
  const start = OscillatorNode.prototype.start;
  OscillatorNode.prototype.start = function (...given) {
    heard.push(this.frequency.value);
    return start.apply(this, given);
  };
  Navigator.prototype.vibrate = (pattern) => felt.push(pattern);"""
OPEN_PLANNED = """(machine) => fetch("/api/entries", { method: "POST", headers: { "Content-Type": "application/json" },
  body: JSON.stringify({ entries: [{ id: "4b7f3d52-58a1-4f0e-9c55-0d2f6a1c7e10", machine, batch: null, kind: "opened",
    at_ms: Date.now(), by: {}, body: { plan: { development_s: 25 } } }] }) }).then((answer) => answer.json())"""
# Playwright's clock stops the page's, and not that of its events.
TOUCHED = 'Object.defineProperty(Event.prototype, "timeStamp", { get: () => performance.now() })'
# What a browser tells a page when the screen goes to sleep, and when it is unlocked.
TURN = """(hidden) => {
  Object.defineProperty(document, "hidden", { value: hidden, configurable: true });
  document.dispatchEvent(new Event("visibilitychange"));
}"""
FROM_M, ARCMIN = 2.0, 5.0
PX_MM = 25.4 / 160  # a CSS px of a phone or tablet [memory: Android's density-independent pixel, 1/160 inch]
EDGE_PX = 20  # what holding a phone covers of its screen [memory]
CAPITAL = 0.7  # of the size of a letter: the height of a digit in common sans-serif faces [memory]


def moments(server: Server, code: str) -> set[str]:
    """The moments of a batch that count."""
    return set(server.get(f"/api/batches/{code}")["moments"]) - {"turning_point"}


def test_pedal_slaps_the_pad_once(demo: Server, phone: Screen, roast: str):
    """Space and Enter mark the next moment from anywhere, once however long the key is held; typing marks nothing."""
    phone.open_live()
    expect(phone.by_id("pad-next")).to_have_text("Yellow")
    phone.tap("Note")
    phone.by_id("note-text").press_sequentially("two words")
    phone.tap("Close", phone.sheet("note"))  # the focus is on Note's button again, left there by a finger
    for _ in range(3):
        phone.page.keyboard.down("Enter")  # the second and third are repeats of a key that is held
        phone.page.wait_for_timeout(400)
    phone.page.keyboard.up("Enter")
    expect(phone.by_id("pad-next")).to_have_text("First crack")
    expect(phone.sheet("note")).to_be_hidden()
    phone.sent()
    phone.page.keyboard.press("Space")
    expect(phone.by_id("pad-next")).to_have_text("Drop")
    phone.sent()
    assert moments(demo, roast) == {"charge", "yellow", "first_crack"}
    phone.page.keyboard.press("Escape")
    expect(phone.by_id("pad-next")).to_have_text("First crack")
    phone.sent()
    assert moments(demo, roast) == {"charge", "yellow"}


def test_focused_pad_counts_a_key_once(demo: Server, tablet: Screen, roast: str):
    """A held key marks one moment with the focus on the pad, although a held Enter clicks a button repeatedly."""
    tablet.open_live()
    expect(tablet.by_id("pad-next")).to_have_text("Yellow")
    tablet.by_id("pad").focus()
    for _ in range(4):
        tablet.page.keyboard.down("Enter")
        tablet.page.wait_for_timeout(300)
    tablet.page.keyboard.up("Enter")
    tablet.sent()
    assert moments(demo, roast) == {"charge", "yellow"}


def test_arrows_set_controls(demo: Server, tablet: Screen, roast: str):
    """Right selects a control, Page Up and Down step it, the echo names it; presses close together are one move."""
    demo.say("move", roast, control="radiant", setting=5)
    tablet.open_live()
    name = tablet.page.locator("[data-control]").nth(1).inner_text().split("\n")[0]
    tablet.page.keyboard.press("ArrowRight")
    tablet.page.keyboard.press("ArrowRight")
    expect(tablet.by_id("echo")).to_have_text(re.compile(rf"^{name} \d"))
    before = float(re.search(r"[\d.]+", tablet.by_id("echo").inner_text()[len(name) :])[0])
    for key in ("PageUp", "ArrowUp", "ArrowUp", "PageDown"):
        tablet.page.keyboard.press(key)
    expect(tablet.page.locator("[data-control].chosen")).to_have_count(1)
    tablet.sent()
    moves = [entry for entry in demo.get(f"/api/batches/{roast}")["entries"] if entry["kind"] == "move"]
    own = [entry["body"] for entry in moves if entry["by"]["device"] not in {"drum-4", "demo-operator"}][1:]
    step = next(one["step"] for one in demo.get("/machines/drum-4/view")["controls"] if one["name"] == name)
    # The demo's operator moves it too, between the look and the press at times: the steps count from what stood there.
    stood = {before, *(entry["body"]["setting"] for entry in moves if entry["body"]["control"] == own[-1]["control"])}
    assert any(own[-1]["setting"] == pytest.approx(setting + 2 * step) for setting in stood - {own[-1]["setting"]})
    assert len(own) == 1


def test_keys_are_listed(tablet: Screen, roast: str):
    """The question mark opens the list of keys, and so does the log; it tells whether the screen is kept awake."""
    assert roast
    tablet.open_live()
    tablet.page.keyboard.press("?")
    expect(tablet.sheet("screen")).to_be_visible()
    for key in ("Space", "Enter", "Page Up", "Page Down", "Esc", "Tab", "?"):
        expect(tablet.sheet("screen").locator("kbd", has_text=re.compile(f"^{re.escape(key)}$"))).to_be_visible()
    awake = tablet.by_id("awake").inner_text()
    says = tablet.by_id("awake-why").inner_text()
    assert ("stays awake until the drop" in says) == (awake == "awake"), (awake, says)
    tablet.page.keyboard.press("Escape")
    expect(tablet.sheet("screen")).to_be_hidden()
    tablet.tap("Log")
    tablet.tap("This screen, keys, sound")
    expect(tablet.sheet("screen")).to_be_visible()
    expect(tablet.sheet("log")).to_be_hidden()


def test_a_screen_that_may_sleep_is_reported(demo: Server, screen: MakeScreen, roast: str):
    """A browser without a wake lock is told so with what to do; the strip says “may sleep”."""
    assert roast
    phone = screen(demo, PHONE)
    phone.page.add_init_script("delete Navigator.prototype.wakeLock")
    phone.open_live()
    expect(phone.by_id("awake")).to_have_text("may sleep", use_inner_text=True)
    assert "longer screen timeout on the device" in (phone.by_id("awake-why").text_content() or "")


def untouched(phone: Screen) -> None:
    """Stop the page's clock at a touch: from now on it goes on by `rest` alone, however busy this computer is."""
    phone.page.clock.pause_at(phone.page.evaluate("Date.now() / 1000 + 1"))
    phone.page.keyboard.press("F8")  # a touch that means nothing


def rest(phone: Screen, seconds: float) -> None:
    """Let nobody touch it for so long."""
    phone.page.clock.fast_forward(1000 * seconds)


def sleep(phone: Screen, seconds: float) -> None:
    """Let nobody touch it until the screen sleeps, so many seconds after the last touch, and unlock it."""
    rest(phone, seconds)
    phone.page.evaluate(TURN, True)
    rest(phone, 20)
    phone.page.evaluate(TURN, False)
    rest(phone, 2)


def alone(house: House, screen: MakeScreen) -> Screen:
    """A phone that cannot be kept awake, on a server of its own: its clock may run away from that of the server."""
    phone = screen(house.wire, PHONE)
    phone.page.add_init_script("delete Navigator.prototype.wakeLock")
    phone.page.clock.install()
    phone.page.add_init_script(TOUCHED)
    phone.open_live(house.machine)
    return phone


def said(house: House) -> list[str]:
    """The moments that the server has."""
    return [entry["body"]["moment"] for entry in house.said("moment")]


def test_touch_that_wakes_marks_nothing(house: House, screen: MakeScreen):
    """A tap wakes a screen that is about to sleep, as it slept twice before, and marks nothing; the pad says so."""
    phone = alone(house, screen)
    resting = phone.page.locator("#pad .rest")
    untouched(phone)
    sleep(phone, 30)
    rest(phone, 25)
    expect(resting).to_be_hidden()  # once: a hand may have put the page away
    sleep(phone, 3)
    rest(phone, 15)
    expect(resting).to_be_hidden()  # it is bright still
    rest(phone, 10)
    expect(resting).to_be_visible()
    phone.by_id("pad").tap()
    expect(phone.by_id("echo")).to_contain_text("Screen woken")
    expect(resting).to_be_hidden()
    expect(phone.by_id("waiting")).to_have_text("0 waiting")
    assert said(house) == []
    phone.page.clock.resume()
    phone.page.wait_for_timeout(750)
    phone.pad("Charge")
    phone.sent()
    assert said(house) == ["charge"]


def test_screen_that_stays_on_takes_every_touch(house: House, screen: MakeScreen):
    """A first touch marks, however late, on a screen that never slept or stayed on longer than it once did."""
    phone = alone(house, screen)
    rest(phone, 240)
    phone.pad("Charge")
    untouched(phone)
    sleep(phone, 30)
    sleep(phone, 28)  # two seconds after it was unlocked
    rest(phone, 23)
    expect(phone.page.locator("#pad .rest")).to_be_visible()
    rest(phone, 10)  # its owner has set it to a longer time
    expect(phone.page.locator("#pad .rest")).to_be_hidden()
    phone.page.clock.resume()
    phone.pad("Yellow")
    untouched(phone)
    rest(phone, 25)  # as dim as it would have been
    phone.page.clock.resume()
    phone.pad("First crack")
    phone.sent()
    assert said(house) == ["charge", "yellow", "first_crack"]


def test_touch_that_comes_with_the_page_marks_nothing(demo: Server, phone: Screen, roast: str):
    """A tap just as the page becomes visible opens no sheet; the next tap does."""
    assert roast
    phone.open_live()
    box = phone.page.locator("[data-sheet=trier]").bounding_box()
    assert box is not None
    # What a browser tells a page when the screen goes on; the tap follows within the same breath.
    phone.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    phone.page.touchscreen.tap(box["x"] + 20, box["y"] + 20)
    expect(phone.by_id("echo")).to_contain_text("Screen woken")
    expect(phone.sheet("trier")).to_be_hidden()
    phone.page.touchscreen.tap(box["x"] + 20, box["y"] + 20)
    expect(phone.sheet("trier")).to_be_visible()


def test_due_moment_is_heard_felt_and_seen(house: House, screen: MakeScreen):
    """A moment that may be due brings a tone, a buzz, a frame and words for screen readers; off is silent."""
    loud, quiet = screen(house.wire, PHONE), screen(house.wire, PHONE)
    for one in (loud, quiet):
        one.page.add_init_script(LISTEN)
        one.open_live(house.machine)
    loud.page.evaluate(OPEN_PLANNED, house.machine)
    quiet.tap("Log")
    quiet.tap("This screen, keys, sound")
    quiet.by_id("sound").tap()
    expect(quiet.by_id("sound")).to_have_attribute("aria-checked", "false")
    quiet.tap("Close", quiet.sheet("screen"))
    for moment in ("Charge", "Yellow", "First crack"):
        loud.pad(moment)
    assert loud.page.evaluate("[heard, felt]") == [[], []]
    for one in (loud, quiet):
        expect(one.by_id("due-told")).to_have_text("Drop may be due now")
        expect(one.by_id("pad")).to_have_class(re.compile(r"\bdue\b"))
    assert loud.page.evaluate("[heard, felt]") == [[880], [[250]]]
    assert quiet.page.evaluate("[heard, felt]") == [[], []]


def test_lost_server_is_heard(house: House, screen: MakeScreen):
    """A server that stays unreachable while a batch is roasted gives the other sound, and the page says so."""
    phone = screen(house.wire, PHONE)
    phone.expected += CUT_ERRORS
    phone.page.add_init_script(LISTEN)
    phone.open_live(house.machine)
    phone.pad("Charge")
    phone.sent()
    house.wire.cut()
    expect(phone.by_id("trouble")).to_contain_text("Offline")
    phone.until(lambda: phone.page.evaluate("[440, 330].every((hertz) => heard.includes(hertz))"), "nothing was heard")
    assert phone.page.evaluate("felt") == [[400, 150, 400]]


def test_discard_takes_a_hold(house: House, screen: MakeScreen):
    """A tap on Discard does nothing; a hold discards the batch; it is away from all edges, and Undo brings it back."""
    phone = screen(house.wire, PHONE)
    phone.open_live(house.machine)
    phone.pad("Charge")
    phone.sent()
    expect(phone.by_id("actions-idle")).to_be_visible()
    phone.tap("Log")
    button = phone.page.locator("#discard button")
    button.scroll_into_view_if_needed()
    box = button.bounding_box()
    assert box is not None
    assert min(box["x"], 390 - box["x"] - box["width"], 844 - box["y"] - box["height"]) >= EDGE_PX
    button.tap()
    phone.page.wait_for_timeout(1800)
    assert house.said("undo") == []
    button.focus()
    phone.page.keyboard.down("Space")
    phone.until(lambda: float(button.evaluate("(one) => one.style.getPropertyValue('--held')")) > 0.3, "no progress")
    expect(phone.by_id("pad-next")).to_have_text("Charge")
    phone.page.keyboard.up("Space")
    phone.sent()
    code = house.said("opened")[0]["batch"]
    assert house.server.get(f"/api/batches/{code}")["state"] == "discarded"
    phone.tap("Restore", phone.by_id("actions-fresh"))
    expect(phone.by_id("pad-next")).to_have_text("Yellow")
    phone.sent()
    assert house.server.get(f"/api/batches/{code}")["state"] == "roasting"
    assert len(house.said("opened")) == 1


@pytest.mark.drawn
def test_the_live_curve_has_a_table(demo: Server, tablet: Screen, roast: str):
    """The live page's table has a row each half minute with the values of the API for that second."""
    tablet.open_live()
    tablet.until(lambda: (demo.get(f"/api/batches/{roast}/curve")["t_s"] or [0])[-1] > 95, "no minute and a half")
    tablet.page.wait_for_timeout(1500)
    tablet.tap("Log")
    tablet.tap("Table of this curve")
    rows = [row.split("\t") for row in tablet.page.locator("#table tbody tr").all_inner_texts()]
    assert [row[0] for row in rows[:4]] == ["0:00", "0:30", "1:00", "1:30"]
    head = tablet.page.locator("#table thead th").all_inner_texts()
    assert head[:2] == ["Time", "Bean probe"]
    curve = demo.get(f"/api/batches/{roast}/curve")
    probe = dict(zip(curve["t_s"], curve["bean_probe"], strict=True))
    told = [row for row in rows[1:4] if row[1] != "–"]  # at the demo's speed a row may be a gap: see screen.py
    assert told
    for row in told:
        minutes, seconds = row[0].split(":")
        assert float(row[1]) == pytest.approx(probe[60 * int(minutes) + int(seconds)], abs=1.0)


@pytest.mark.drawn
def test_a_record_has_the_table(demo: Server, tablet: Screen):
    """A record's table opens from a line under its curve and has the values of the API."""
    code = next(batch["code"] for batch in demo.get("/api/batches")["batches"] if batch["roasted_g"])
    tablet.open(f"/batches/{code}")
    tablet.by_id("curve-rows").locator("summary").tap()
    rows = [row.split("\t") for row in tablet.page.locator("#curve-rows tbody tr").all_inner_texts()]
    curve = demo.get(f"/api/batches/{code}/curve")
    probe = dict(zip(curve["t_s"], curve["bean_probe"], strict=True))
    assert rows[2][0] == "1:00"
    assert float(rows[2][1]) == pytest.approx(probe[60], abs=0.1)
    assert len(rows) >= max(probe) // 30


@pytest.mark.drawn
@pytest.mark.parametrize("device", [PHONE, TABLET], ids=["phone", "tablet"])
def test_far_view_reads_from_two_metres(device: dict[str, Any], demo: Server, roast: str, screen: MakeScreen):
    """Digits are three times, the next moment twice as high as normal sight needs at two metres."""
    assert roast
    far = screen(demo, device)
    far.open_live()
    far.tap("Far view")
    made_out_mm = 2 * 1000 * FROM_M * math.tan(math.radians(ARCMIN / 60) / 2)
    for ident, times in {"temp": 3, "rate": 3, "clock": 3, "pad-next": 2}.items():
        size_px = far.page.evaluate("(id) => parseFloat(getComputedStyle(document.getElementById(id)).fontSize)", ident)
        assert size_px * CAPITAL * PX_MM >= times * made_out_mm, ident
        box = far.by_id(ident).bounding_box()
        assert box is not None
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= device["viewport"]["width"]
