"""The outlook, heads-ups and suggestions on the live page: shown out of the way, and marking nothing by themselves."""

import re
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import expect

from roastlog.recording.trouble import FULL
from tests.browser.conftest import MakeScreen
from tests.browser.contrast import contrast, rgb
from tests.browser.roasting import NOW_S, Roasting, ready
from tests.browser.screen import PHONE, TABLET, Screen
from tests.browser.test_targets import GLOVE_PX, outside, too_small
from tests.conftest import START_MS

CRACK = {
    "label": "First crack", "moment": "first_crack", "time_s": 522.4, "low_s": 508.0, "high_s": 533.2, "temp_c": 196.1,
    "temp_low_c": 194.8, "temp_high_c": 197.5, "rate_c_per_min": 8.2, "rate_low_c_per_min": 7.0,
    "rate_high_c_per_min": 9.1, "basis": "batches",
}  # fmt: skip
DROP = {**CRACK, "label": "Drop", "moment": "drop", "time_s": 604.0, "low_s": None, "high_s": None, "basis": "curve"}
SAYS = "From this roast and 6 earlier batches of this coffee on this machine."
CRASH = {
    "kind": "crash", "start_s": 361.0,
    "text": "Between 6:01 and 6:31 the rate of rise fell 5.2 °C/min below its trend; "
    "the heat may be worth a look.",
}  # fmt: skip
STALL = {"kind": "stall", "start_s": 380.0, "text": "Between 6:20 and 6:40 the rate of rise was only 0.6 °C/min."}
BOXES = ("#three", "#curves", "#controls", ".said", "#pad", ".bar")


def boxes(live: Screen) -> dict[str, Any]:
    """Where the parts of the page stand."""
    return {part: live.page.locator(part).bounding_box() for part in BOXES}


@pytest.mark.parametrize("device", [PHONE, TABLET], ids=["phone", "tablet"])
def test_the_pad_tells_the_forecast_with_its_band(device: dict[str, Any], drum: Roasting, screen: MakeScreen):
    """The pad tells time left, band and basis, in the far view too: no band, the time alone; no forecast, the hint."""
    drum.roast()
    live = screen(drum, device)
    ready(live)
    sub, basis = live.by_id("pad-sub"), live.by_id("pad-basis")
    drum.tell()
    expect(sub).to_contain_text("Tap when one crack")
    drum.tell(ahead=[CRACK, DROP], says=SAYS)
    expect(sub).to_have_text(re.compile(r"^in about (2:0\d|1:\d\d) \(8:28–8:53\)$"))
    expect(basis).to_have_text("from earlier batches of this coffee")
    live.tap("Far view")
    near_px = 20
    assert float(sub.evaluate("(line) => parseFloat(getComputedStyle(line).fontSize)")) > near_px
    assert sub.evaluate("(line) => line.getClientRects().length") == 1
    drum.tell(ahead=[{**CRACK, "low_s": None, "high_s": None, "basis": "curve"}])
    expect(sub).to_have_text(re.compile(r"^in about [12]:\d\d \(8:42\)$"))
    expect(basis).to_have_text("from this roast only")
    drum.tell(ahead=[{**CRACK, "time_s": 330.0, "low_s": 320.0, "high_s": 340.0}])
    expect(sub).to_have_text(re.compile(r"^1:\d\d later than forecast \(5:20–5:40\)$"))
    drum.tell()
    expect(sub).to_contain_text("Tap when one crack")


@pytest.mark.drawn
def test_the_chart_draws_the_forecast(drum: Roasting, screen: MakeScreen):
    """The chart draws each moment to come with its band until it is marked; its axis widens by whole steps."""
    code = drum.roast()
    live = screen(drum, PHONE)
    ready(live)
    drum.tell(ahead=[CRACK, DROP], says=SAYS)
    both = ["first crack?", "drop?"]
    ahead = live.until(lambda: (found := live.columns("ahead"))["label"] == both and found, "not what is to come")
    assert ahead["t_s"] == [522, 604]
    assert (ahead["low_s"], ahead["high_s"]) == ([508, None], [533, None])
    assert len({*ahead["y"]}) == 2
    end_s = live.page.evaluate("Bokeh.documents[0].get_model_by_name('time').end")
    assert end_s > 533
    assert end_s % 30 == 0
    assert ahead["align"] == ["left", "left"]
    drum.tell(ahead=[CRACK, {**DROP, "time_s": end_s - 20.0}])  # its word would be cut off at the chart's edge
    live.until(lambda: live.columns("ahead")["align"] == ["left", "right"], "a word leaves the chart")
    drum.tell(ahead=[CRACK, {**DROP, "time_s": end_s + 20.0}])  # only the nearest moves the axis
    live.until(lambda: live.columns("ahead")["label"] == ["first crack?"], "drawn outside of the chart")
    drum.bench.say(drum.bench.entry("moment", 399, batch=code, moment="first_crack"))
    expect(live.by_id("pad-next")).to_have_text("Drop")

    def told_again() -> list[str]:
        drum.tell(ahead=[CRACK, DROP])  # of a second ago; the desk's own on the mark may come between
        live.page.wait_for_timeout(200)
        return list(live.columns("ahead")["label"])

    live.until(lambda: told_again() == ["drop?"], "first crack is marked and still to come")


@pytest.mark.drawn
@pytest.mark.parametrize("device", [PHONE, TABLET], ids=["phone", "tablet"])
def test_a_heads_up_moves_nothing_and_can_be_hidden(device: dict[str, Any], drum: Roasting, screen: MakeScreen):
    """A heads-up moves no other part of the page; a hidden one stays hidden over a reload, and a new one appears."""
    drum.roast()
    live = screen(drum, device)
    ready(live)
    line = live.by_id("advice")
    expect(line).to_be_hidden()
    before = boxes(live)
    drum.tell(heads_up=[CRASH])
    expect(line).to_contain_text("Heads-up")
    expect(line).to_contain_text("worth a look")
    assert boxes(live) == before
    box = line.bounding_box()
    assert box is not None
    curves = before["#curves"]
    assert box["y"] >= curves["y"]
    assert box["y"] + box["height"] <= curves["y"] + curves["height"] + 0.5
    targets = live.measure("targets", "#advice")
    assert len(targets) == 1
    assert too_small(targets, GLOVE_PX) == []
    assert outside(targets, device["viewport"]["width"], device["viewport"]["height"]) == []
    live.page.wait_for_timeout(600)  # a finger that is down sooner is not taken for one that read it
    live.by_id("advice-away").tap()
    expect(line).to_be_hidden()
    assert boxes(live) == before
    drum.tell(heads_up=[{**CRASH, "text": CRASH["text"].replace("6:31", "6:35")}])
    drum.tell(heads_up=[STALL, CRASH])
    expect(line).to_contain_text("only 0.6")
    live.tap("Log")
    seen = live.by_id("outlook")
    expect(seen).to_contain_text("fell 5.2")
    expect(seen).to_contain_text("a good start for an unfamiliar coffee, not a rule")
    live.tap("Close", live.sheet("log"))
    ready(live)  # loaded again: what was hidden on this device stays so
    drum.tell(heads_up=[CRASH])
    drum.tell(heads_up=[CRASH], says=SAYS)
    live.until(lambda: live.page.evaluate("document.getElementById('advice-told').textContent") == "", "told again")
    expect(line).to_be_hidden()


def test_a_heads_up_is_read_out_once(drum: Roasting, screen: MakeScreen):
    """A screen reader is given each heads-up once, however its words grow."""
    drum.roast()
    live = screen(drum, PHONE)
    ready(live)
    live.page.evaluate(
        """() => { window.told = []; const region = document.getElementById("advice-told");
        new MutationObserver(() => region.textContent && told.push(region.textContent))
          .observe(region, { childList: true, characterData: true, subtree: true }); }"""
    )
    for end in ("6:31", "6:32", "6:33"):
        drum.tell(heads_up=[{**CRASH, "text": CRASH["text"].replace("6:31", end)}])
        expect(live.by_id("advice-text")).to_contain_text(end)
    drum.tell(heads_up=[STALL, CRASH])
    expect(live.by_id("advice-text")).to_contain_text("only 0.6")
    told = live.page.evaluate("told")
    assert [words.split(" ")[1] for words in told] == ["Between", "Between"]
    assert told[0] == f"Heads-up: {CRASH['text']}"
    assert told[1] == f"Heads-up: {STALL['text']}"
    region = live.by_id("advice-told")
    assert (region.get_attribute("role"), region.get_attribute("aria-live")) == ("status", "polite")
    assert live.page.locator("#advice [role=status], #advice[role=status], [aria-live] #advice").count() == 0


def test_a_suggested_charge_is_marked_by_a_tap(drum: Roasting, screen: MakeScreen):
    """A fall of the probe suggests a charge and marks none; a tap marks it at the time of the fall."""
    code = drum.bench.open(coffee="Alder washed", green_g=4000)
    rng = np.random.default_rng(4)
    drum.feed(-60, np.full(60, 200.0) + rng.normal(0.0, 0.1, 60).round(1))
    live = screen(drum, PHONE)
    live.open_live()
    expect(live.by_id("advice")).to_be_hidden()
    before = boxes(live)
    drum.feed(0, np.round(90 + 110 * np.exp(-np.arange(25) / 25) + rng.normal(0.0, 0.1, 25), 1))
    expect(live.by_id("advice-text")).to_have_text(re.compile(r"^The probe fell as at a charge, 0:\d\d ago\.$"))
    assert boxes(live) == before
    targets = live.measure("targets", "#advice")
    assert len(targets) == 2
    assert too_small(targets, GLOVE_PX) == []
    assert [target["name"] for target in targets if target["cut"]] == []
    assert drum.bench.services.batches.detail(code).moments == {}
    live.page.wait_for_timeout(600)
    live.tap("Mark charge then")
    expect(live.by_id("advice")).to_be_hidden()
    expect(live.by_id("pad-next")).to_have_text("Yellow")
    live.sent()
    (charge,) = [one for one in drum.bench.services.batches.detail(code).entries if one.kind == "moment"]
    assert charge.body == {"moment": "charge"}
    assert abs(charge.at_ms - START_MS) <= 2000


def test_a_likely_moment_is_told_and_not_marked(drum: Roasting, screen: MakeScreen):
    """A likely moment is told in words; the line has no button that marks it, and nothing is marked."""
    code = drum.roast()
    live = screen(drum, PHONE)
    ready(live)
    text = "The last 5 batches were marked first crack at 196 ± 2 °C; the probe is there now."
    drum.tell(suggestions=[{"moment": "first_crack", "label": "First crack", "at_ms": None, "text": text}])
    expect(live.by_id("advice-text")).to_have_text(text)
    expect(live.by_id("advice-mark")).to_be_hidden()
    drum.tell(suggestions=[{"moment": "yellow", "label": "Yellow", "at_ms": None, "text": "Yellow was marked here."}])
    expect(live.by_id("advice")).to_be_hidden()  # it is marked already
    assert "first_crack" not in drum.bench.services.batches.detail(code).moments


def test_the_log_sheet_tells_the_outlook_in_full(drum: Roasting, screen: MakeScreen):
    """The log sheet tells the basis and each moment with its bands; the curve's text for screen readers does too."""
    drum.roast()
    live = screen(drum, PHONE)
    ready(live)
    drum.tell(ahead=[CRACK, DROP], says=SAYS)
    live.tap("Log")
    expect(live.by_id("outlook-basis")).to_have_text(SAYS)
    first, second = live.by_id("outlook-ahead").locator("li").all_inner_texts()
    assert first == "First crack about 8:42 (8:28–8:53), at 196.1 °C (194.8–197.5), rising 8.2 (7.0–9.1) °/min"
    assert second.startswith("Drop about 10:04, at")
    expect(live.by_id("curves-said")).to_contain_text("First crack expected at about 8:42 (8:28–8:53)")


@pytest.mark.parametrize("theme", ["light", "dark", "glare"])
def test_advice_is_readable_in_each_theme(theme: str, drum: Roasting, screen: MakeScreen):
    """Text of the line, of the pad and of the log sheet has a contrast of 4.5:1 [WCAG 2.2, 1.4.3; memory]."""
    drum.roast()
    live = screen(drum, TABLET)
    ready(live)
    live.page.evaluate("(theme) => { document.documentElement.dataset.theme = theme; }", theme)
    drum.tell(ahead=[CRACK], says=SAYS, heads_up=[CRASH])
    expect(live.by_id("advice-rule")).to_be_visible()
    live.tap("Log")
    for part in ("#advice", "#pad", "#outlook"):
        texts = live.measure("texts", part)
        assert texts, part
        faint = [one["words"] for one in texts if contrast(rgb(one["ink"]), rgb(one["paper"])) < 4.5]
        assert faint == [], part


def test_the_rate_names_its_channel(drum: Roasting, screen: MakeScreen):
    """While the probe settles after charge, the rate shown is the infrared sensor's by name; then it is the probe's."""
    code = drum.bench.open(coffee="Alder washed", green_g=4000)
    drum.bench.say(drum.bench.entry("moment", 0, batch=code, moment="charge"))
    seconds = np.arange(NOW_S)
    probe, surface = 95 + 105 * np.exp(-seconds / 20) + seconds * 0.2, 90 + seconds * 0.21
    noise = np.random.default_rng(3).normal(0.0, 0.1, NOW_S)
    live = screen(drum, PHONE)
    live.open("/machines/drum-4")
    drum.feed(0, (probe + noise)[:40], bean_surface=(surface + noise)[:40])
    expect(live.by_id("rate-label")).to_have_text(re.compile(r"^Surface rate ± \d"))
    expect(live.by_id("rate")).to_have_text(re.compile(r"^\d+\.\d$"))
    drum.feed(40, (probe + noise)[40:], bean_surface=(surface + noise)[40:])
    expect(live.by_id("rate-label")).to_have_text(re.compile(r"^Probe rate ± \d"))
    assert live.by_id("rate-label").evaluate("(label) => label.scrollWidth <= label.clientWidth")


def test_a_full_disk_is_reported_on_the_live_page(drum: Roasting, screen: MakeScreen):
    """The strip and a sentence report a full disk and what is kept; both go when the disk takes readings again."""
    drum.roast()
    live = screen(drum, PHONE)
    ready(live)
    drum.bench.services.live.hub("drum-4").tell("state", {"links": [], "trouble": FULL})
    expect(live.by_id("phase")).to_have_text("▲ see below")
    expect(live.by_id("trouble-said")).to_have_text(FULL)
    drum.bench.services.live.hub("drum-4").tell("state", {"links": [], "trouble": ""})
    expect(live.by_id("trouble-said")).to_be_hidden()
    expect(live.by_id("phase")).to_have_text("browning")
