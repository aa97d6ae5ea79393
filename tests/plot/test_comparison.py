"""The comparison figure: a line and a letter for each batch, in panels with known names."""

import re
from dataclasses import replace

import numpy as np
import pytest

from roastlog.curve.comparison.alignment import differences_along, shift_s
from roastlog.curve.roast import Roast
from roastlog.machine.views import ControlView
from roastlog.plot.comparison import Drawn, comparison_figure
from roastlog.plot.overlays import LINES
from tests.hands import steady
from tests.plot.filled import filled, models
from tests.plot.test_figures import column, named

RADIANT = ControlView("radiant", "Radiant", "", 0, 10, 0.5, 1)
LETTERS = "ABCDEF"


def drawn(count: int, align: str = "charge") -> list[Drawn]:
    """A number of batches, aligned."""
    guide, *others = (steady(345, number) for number in range(count))
    return [Drawn("A", guide)] + [
        Drawn(letter, roast, shift_s(roast, guide, align), differences_along(roast, guide, align))
        for letter, roast in zip(LETTERS[1:], others, strict=False)
    ]


def of_kind(item: dict, kind: str) -> list[dict]:
    """Attributes of all glyphs of one kind, each once."""
    found = {}

    def walk(part: object) -> None:
        if isinstance(part, dict):
            if part.get("type") == "object" and part.get("name") == kind:
                found[part["id"]] = part.get("attributes", {})
            for value in part.values():
                walk(value)
        elif isinstance(part, list):
            for value in part:
                walk(value)

    walk(item)
    return list(found.values())


def test_six_batches_differ_by_dash_and_letter():
    """Each of six lines has a dash and a colour of its own, and each panel a letter for each."""
    item = filled(comparison_figure(drawn(6), "charge"))
    lines = of_kind(item, "Line")
    assert len({str(line.get("line_dash")) for line in lines}) == 6
    assert len({str(line.get("line_color")) for line in lines}) == 6
    assert sorted(re.findall(r"\['text', \['([A-F])'\]", str(item))) == sorted(2 * LETTERS)


def test_dashes_and_tokens_are_six_of_each():
    """No two batches have the same dash or the same colour."""
    assert len({token for token, _ in LINES}) == len({dash for _, dash in LINES}) == len(LETTERS)


@pytest.mark.parametrize("align", ["charge", "yellow", "first_crack"])
def test_over_time_there_are_temperatures_rates_and_lanes(align):
    """Aligned in time there are two panels of curves, and one lane per batch under them."""
    item = filled(comparison_figure(drawn(3, align), align, RADIANT))
    assert [named(item, name)["name"] for name in ("temperatures", "rates", "lanes")]
    assert set(column(named(item, "ribbon"), "control")) == {"A", "B", "C"}


def test_over_temperature_there_are_rates_and_time_differences():
    """At equal temperature there are the rates over temperature, and the delay of each batch."""
    item = filled(comparison_figure(drawn(2, "temperature"), "temperature", RADIANT))
    assert named(item, "rates")
    assert named(item, "later")
    assert not [model for model in models(item) if model.get("attributes", {}).get("name") == "temperatures"]
    assert len(of_kind(item, "Line")) == 3  # two rates, one difference


def test_time_axis_reaches_back_to_a_charge_that_was_moved_before_the_guides():
    """A batch that took longer to first crack starts left of the guide's charge and is shown whole."""
    guide = steady(345, 0)
    slow = replace(guide, moments_s={**guide.moments_s, "first_crack": guide.moments_s["first_crack"] + 40})
    batches = [
        Drawn("A", guide),
        Drawn("B", slow, shift_s(slow, guide, "first_crack"), differences_along(slow, guide, "first_crack")),
    ]
    assert named(filled(comparison_figure(batches, "first_crack")), "time")["start"] == -40


@pytest.mark.parametrize("align", ["charge", "temperature"])
def test_batch_without_readings_is_no_trouble(align):
    """A batch of gaps only, or no batch, gives panels without a line."""
    unread = Roast(np.arange(9.0), np.full(9, np.nan), np.full(9, np.nan))
    assert filled(comparison_figure([Drawn("A", unread)], align, RADIANT))["doc"]
    assert filled(comparison_figure([], align))["doc"]


def test_axes_read_in_fahrenheit():
    """In °F all axes say so, and no °C is left."""
    item = str(filled(comparison_figure(drawn(2), "charge", temp_unit="F")))
    assert "°F/min" in item
    assert "°C" not in item


def test_letters_of_lines_that_end_together_stand_clear():
    """Six batches that end at one point have their letters a text line apart, all within the panel."""
    roast = steady(345, 0)
    item = filled(comparison_figure([Drawn(letter, roast) for letter in LETTERS], "charge"))
    heights = [float(y) for y in re.findall(r"\['y', \[([\d.]+)\]\], \['text', \['[A-F]'\]", str(item))][:6]
    assert len(heights) == 6
    assert min(np.diff(sorted(heights))) >= 7.5 - 1e-9
    assert max(heights) + 7.5 < named(item, "temp")["end"]
