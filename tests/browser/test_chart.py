"""The live chart as it is drawn: all labels readable, the newest reading in sight, nothing beyond the curve's end."""

from itertools import combinations
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import expect

from tests.browser.conftest import MakeScreen
from tests.browser.roasting import NOW_S, Roasting, ready
from tests.browser.screen import PHONE

MINUTE_7_S = 420
SIZES = [(390, 844), (360, 740), (844, 390), (1180, 820), (1280, 900)]
# Records each text that is drawn on a canvas since it was last cleared: its box on the page, and its font.
RECORD = """
  window.drawnTexts = new Map();
  const { fillText, clearRect } = CanvasRenderingContext2D.prototype;
  CanvasRenderingContext2D.prototype.clearRect = function (...box) {
    drawnTexts.set(this.canvas, []);
    return clearRect.apply(this, box);
  };
  CanvasRenderingContext2D.prototype.fillText = function (text, x, y, ...more) {
    const size = this.measureText(text);
    const { a, e, f } = this.getTransform();
    if (text) drawnTexts.get(this.canvas)?.push({
      text,
      left: x - size.actualBoundingBoxLeft + e / a,
      right: x + size.actualBoundingBoxRight + e / a,
      top: y - size.actualBoundingBoxAscent + f / a,
      bottom: y + size.actualBoundingBoxDescent + f / a,
      fontPx: Number(/([\\d.]+)px/.exec(this.font)[1]),
    });
    return fillText.call(this, text, x, y, ...more);
  };"""
TEXTS = """() => [...drawnTexts].filter(([canvas]) => canvas.isConnected).flatMap(([canvas, texts]) => {
  const { x, y } = canvas.getBoundingClientRect();
  return texts.map(({ text, left, right, top, bottom, fontPx }) =>
    ({ text, left: left + x, right: right + x, top: top + y, bottom: bottom + y, fontPx }));
})"""
ENDS = """() => {
  const get = (name) => Bokeh.documents[0].get_model_by_name(name);
  const [{ data }, time, temp, rate] = ["live", "time", "temp", "rate"].map(get);
  return { newest: Object.fromEntries(Object.entries(data).map(([name, column]) => [name, column.at(-1)])),
    time: [time.start, time.end], temp: [temp.start, temp.end], rate: [rate.start, rate.end],
    widthPx: get("temperatures").inner_width };
}"""


def minute_7(drum: Roasting) -> str:
    """A batch with the newest reading at minute 7; its code."""
    code = drum.roast()
    seconds = np.arange(NOW_S, MINUTE_7_S + 1)
    drum.feed(NOW_S, 95 + seconds * 0.2, bean_surface=90 + seconds * 0.21)
    for at_s, setting in ((0, 3), (200, 6.5), (206, 7)):  # the last so close that their texts would overprint
        drum.bench.say(drum.bench.entry("move", at_s, batch=code, control="radiant", setting=setting))
    for at_s, stage in ((250, "pale"), (256, "yellow"), (390, "tan")):
        drum.bench.say(drum.bench.entry("trier", at_s, batch=code, stage=stage))
    return code


def overlapping(texts: list[dict[str, Any]]) -> list[tuple[str, str]]:
    """Pairs of texts that overprint each other."""
    return [
        (one["text"], other["text"])
        for one, other in combinations(texts, 2)
        if one["left"] < other["right"]
        and other["left"] < one["right"]
        and one["top"] < other["bottom"]
        and other["top"] < one["bottom"]
    ]


@pytest.mark.drawn
def test_no_label_overprints_another_on_any_screen(drum: Roasting, screen: MakeScreen):
    """On phones upright and aside, a tablet and a desk: no overlap, type of 13 px, the newest reading in the frame."""
    minute_7(drum)
    live = screen(drum, PHONE)
    live.page.add_init_script(RECORD)
    ready(live)
    assert live.columns("ribbon")["shown"] == ["3", "", "7"]
    assert live.columns("checks")["shown"] == ["P", "", "T"]
    for width, height in SIZES:
        live.page.set_viewport_size({"width": width, "height": height})
        live.page.wait_for_timeout(1500)  # a layout, and a redraw
        texts = live.page.evaluate(TEXTS)
        words = {text["text"] for text in texts}
        assert {"0", "charge", "yellow"} < words
        assert any(word.endswith(" 179.0") for word in words)
        assert overlapping(texts) == [], (width, height)
        assert min(text["fontPx"] for text in texts) >= 13
        drawn = live.page.evaluate(ENDS)
        for name, axis in (("bean_probe", "temp"), ("bean_surface", "temp"), ("rate_bean_probe", "rate")):
            start, end = drawn[axis]
            assert start < drawn["newest"][name] < end
        # On a phone the long labels of this machine take two fifths of the width.
        assert (0.6 if width >= 844 else 0.5) <= drawn["newest"]["t_s"] / drawn["time"][1] <= 0.72


@pytest.mark.drawn
def test_a_mark_waits_for_readings_that_are_late(drum: Roasting, screen: MakeScreen):
    """While readings are late, a moment beyond the curve's end is not drawn; once they are in, it is."""
    code = drum.roast()
    live = screen(drum, PHONE)
    ready(live)
    drum.bench.clock.turn_to(NOW_S + 60)
    drum.bench.say(drum.bench.entry("moment", NOW_S + 50, batch=code, moment="first_crack"))
    expect(live.by_id("pad-next")).to_have_text("Drop")
    live.page.wait_for_timeout(1500)  # a redraw
    assert live.columns("marks")["label"] == ["charge", "turning point", "yellow"]
    seconds = np.arange(NOW_S, NOW_S + 60)
    drum.feed(NOW_S, 95 + seconds * 0.2)
    live.until(lambda: "first crack" in live.columns("marks")["label"], "the mark is not drawn")
    assert max(live.columns("marks")["t_s"]) <= max(live.columns("live")["t_s"])
