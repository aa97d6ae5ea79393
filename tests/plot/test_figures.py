"""Figures contain their data, under the names that the page uses."""

import base64
import gzip
import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from roastlog.errors import CurveError
from roastlog.machine.views import ChannelView, ControlView
from roastlog.plot.figures import _panels, live_columns, live_figure, record_figure
from roastlog.plot.overlays import checks, faults, marks, ribbon
from roastlog.plot.panels import TOKENS
from tests.plot.filled import filled, models

CHANNELS = [
    ChannelView("bean_probe", "Bean probe", "bean_probe", "probe"),
    ChannelView("bean_surface", "Bean surface", "bean_surface", "surface"),
    ChannelView("exhaust", "Exhaust", "exhaust_air", "exhaust"),
]
CONTROLS = [ControlView("radiant", "Radiant", "", 0, 10, 0.5, 1)]
COLUMNS = {"t_s": [0, 1, 2], "bean_probe": [200.0, 190.0, float("nan")], "exhaust": [180, 181, 182]}


def named(item: dict[str, Any], name: str) -> dict[str, Any]:
    """Attributes of the only model with this name."""
    (model,) = [model for model in models(item) if model.get("attributes", {}).get("name") == name]
    return model["attributes"]


def column(source: dict[str, Any], name: str) -> Any:  # noqa: ANN401 - a list or an encoded array
    """One column of a source as it is sent."""
    return dict(source["data"]["entries"])[name]


@pytest.mark.parametrize("make", [live_figure, record_figure])
def test_the_names_that_the_page_feeds_are_there(make):
    """Both figures have the sources and ranges that static/js looks up by name."""
    item = filled(make(CHANNELS, CONTROLS, COLUMNS))
    for name in ("live", "ends", "marks", "ahead", "checks", "ribbon", "guide", "time", "temp", "rate"):
        assert named(item, name)


def test_columns_travel_as_float32():
    """The live source has little-endian float32, gaps as NaN, for every channel and each bean channel's rate."""
    live = named(filled(live_figure(CHANNELS, CONTROLS, COLUMNS)), "live")
    names = {name for name, _ in live["data"]["entries"]}
    assert names == {"t_s", "bean_probe", "bean_surface", "exhaust", "rate_bean_probe", "rate_bean_surface"}
    sent = column(live, "bean_probe")
    assert sent["dtype"] == "float32"
    values = np.frombuffer(gzip.decompress(base64.b64decode(sent["array"]["data"])), "<f4")
    assert values[:2].tolist() == [200.0, 190.0]
    assert np.isnan(values[2])


@pytest.mark.parametrize("make", [live_figure, record_figure])
def test_manual_readings_are_points(make):
    """A manual channel is drawn only as dots, in its own colour, since the values between are unknown."""
    by_hand = [replace(CHANNELS[0], by_hand=True), *CHANNELS[1:]]
    item = filled(make(by_hand, CONTROLS, COLUMNS))
    glyphs = [(model["name"], model.get("attributes", {}).get("y")) for model in models(item)]
    drawn = {name for name, field in glyphs if field == {"type": "field", "field": "bean_probe"}}
    assert drawn == {"Scatter"}
    assert {name for name, field in glyphs if field == {"type": "field", "field": "exhaust"}} == {"Line"}


def ticks(item: dict[str, Any], panel: str) -> dict[float, str]:
    """Possible ticks of a panel's vertical axis, with their labels; those of the first paint are among them."""
    (axis,) = named(item, panel)["left"]
    labels = dict(said(axis))
    assert set(axis["attributes"]["ticker"]["attributes"]["ticks"]) <= labels.keys()
    return labels


def number(label: str) -> int:
    """The number that a tick's label shows."""
    return int(label.replace("−", "-"))


def said(axis: dict[str, Any]) -> list[list[Any]]:
    """The label overrides of an axis."""
    entries: list[list[Any]] = axis["attributes"]["major_label_overrides"]["entries"]
    return entries


@pytest.mark.parametrize("make", [live_figure, record_figure])
def test_an_axis_in_fahrenheit_reads_in_round_values_of_its_own(make):
    """Labels are at the °C of their °F: 212 °F is 100 °C by definition; a difference of 9 °F is one of 5 °C."""
    item = filled(make(CHANNELS, CONTROLS, COLUMNS, temp_unit="F"))
    temps, rates = ticks(item, "temperatures"), ticks(item, "rates")
    assert {"200", "300", "400", "500"} <= set(temps.values())
    assert {"−20", "0", "20", "40"} <= set(rates.values())
    assert [temp_c * 180 / 100 + 32 for temp_c in temps] == pytest.approx([number(text) for text in temps.values()])
    assert [rate_c * 9 / 5 for rate_c in rates] == pytest.approx([number(text) for text in rates.values()])
    words = json.dumps(item, ensure_ascii=False)
    assert '"°F"' in words
    assert '"°F/min"' in words
    assert "°C" not in words


def test_an_axis_in_celsius_has_its_values_as_labels():
    """In °C each tick's label is its own value."""
    item = filled(live_figure(CHANNELS, CONTROLS, COLUMNS))
    for panel, unit in (("temperatures", '"°C"'), ("rates", '"°C/min"')):
        told = ticks(item, panel)
        assert list(told) == [number(text) for text in told.values()]
        assert unit in json.dumps(item, ensure_ascii=False)


def test_curves_are_the_same_in_either_unit():
    """Only the axes know °F: all data, now and later, is in °C."""
    drawn = {"checks": checks([("tan", 1.0, 190.0)]), "guide": {"t_s": [0.0, 1.0], "temp_c": [200.0, 189.0]}}
    items = [filled(live_figure(CHANNELS, CONTROLS, COLUMNS, drawn, temp_unit=unit)) for unit in "CF"]
    for name in ("live", "ends", "checks", "guide"):
        celsius, fahrenheit = (named(item, name)["data"] for item in items)
        assert celsius == fahrenheit
    for name in ("temp", "rate"):
        celsius, fahrenheit = (named(item, name) for item in items)
        assert celsius == fahrenheit


SMOOTH = {"t_s": [0, 1, 2], "smooth_bean_probe": [199.0, 191.0, 185.0], "smooth_rate_bean_probe": [9.0, 8.5, 8.0]}


def drawn(item: object) -> dict[str, bool]:
    """Visibility of each named renderer."""
    found = [model["attributes"] for model in models(item) if model["name"] == "GlyphRenderer"]
    return {renderer["name"]: renderer.get("visible", True) for renderer in found if renderer.get("name")}


def test_a_record_draws_the_smoothed_curve_and_keeps_the_live_one_at_hand():
    """Smoothed lines are visible; live lines and those of “both” exist but are invisible; others have no name."""
    shown = drawn(filled(record_figure(CHANNELS, CONTROLS, COLUMNS, smooth=SMOOTH)))
    fields = ("bean_probe", "rate_bean_probe")
    lines = {f"{kind} {field}" for kind in ("smooth", "live", "both") for field in fields}
    assert set(shown) == lines | {f"{kind} ends of rates" for kind in ("alone", "live", "both")}
    assert {name for name, visible in shown.items() if visible} == {
        *(f"smooth {field}" for field in fields),
        "alone ends of rates",
    }


def test_each_rate_has_a_label_that_says_which_it_is():
    """Where the smoothed and the live rate are drawn, their labels differ; the surface has only a live one."""
    item = filled(record_figure(CHANNELS, CONTROLS, COLUMNS, smooth=SMOOTH))
    labels = {
        kind: dict(
            zip(*(column(named(item, f"ends of {kind} rates"), name) for name in ("field", "word")), strict=True)
        )
        for kind in ("alone", "live", "both")
    }
    surface = {"rate_bean_surface": "surface"}
    assert labels == {
        "alone": {"smooth_rate_bean_probe": "probe", **surface},
        "live": {"rate_bean_probe": "probe", **surface},
        "both": {"smooth_rate_bean_probe": "probe", "rate_bean_probe": "live probe", **surface},
    }


def test_without_a_smoothed_curve_there_is_nothing_to_switch():
    """An unfinished batch, and the live page, have nothing to switch."""
    assert drawn(filled(record_figure(CHANNELS, CONTROLS, COLUMNS))) == {}
    assert drawn(filled(live_figure(CHANNELS, CONTROLS, COLUMNS))) == {}


def test_both_lines_are_told_apart_by_their_dash():
    """The smoothed line keeps its role's dash, and the live one beside it is dotted and thinner."""
    item = filled(record_figure(CHANNELS, CONTROLS, COLUMNS, smooth=SMOOTH))
    renderers = {model["attributes"].get("name"): model for model in models(item) if model["name"] == "GlyphRenderer"}
    lines = {
        kind: renderers[f"{kind} rate_bean_probe"]["attributes"]["glyph"]["attributes"] for kind in ("smooth", "both")
    }
    assert lines["both"]["line_dash"] == [1, 3]
    assert lines["smooth"].get("line_dash", []) != [1, 3]
    assert lines["both"]["line_width"] < lines["smooth"]["line_width"]
    assert lines["both"]["line_color"] == lines["smooth"]["line_color"]


def test_faults_stand_along_the_foot_with_their_numbers():
    """Each fault has a bar of a minimum length, and its number at another height if two start together."""
    spans = faults([(100.0, 130.0), (110.0, 150.0), (300.0, 300.0)])
    assert spans == {
        "left": [100.0, 110.0, 300.0],
        "right": [130.0, 150.0, 306.0],
        "text": ["1", "2", "3"],
        "foot_px": [5, 17, 5],
    }
    source = named(filled(record_figure(CHANNELS, CONTROLS, COLUMNS, {"faults": spans})), "faults")
    assert column(source, "text") == ["1", "2", "3"]
    heights = column(source, "foot_px")
    assert heights[0] == heights[2] < heights[1]


def test_a_channel_of_an_unknown_role_is_drawn_plainly():
    """A batch outlives its machine's sheet: channels without a role still have a curve."""
    channels = [ChannelView.of_column("exhaust")]
    item = filled(record_figure(channels, [], {"t_s": [0, 1], "exhaust": [180.0, 181.0]}))
    assert column(named(item, "ends"), "token") == ["room"]


def test_a_column_of_another_length_is_refused():
    """Columns of different lengths are refused."""
    with pytest.raises(CurveError, match="exhaust"):
        live_columns(CHANNELS, {"t_s": [0, 1, 2], "exhaust": [1.0]})


def test_an_empty_roast_has_a_figure_too():
    """Before charge there are axes and no curve."""
    item = filled(live_figure(CHANNELS, CONTROLS, {"t_s": []}))
    assert named(item, "time")["end"] > 0
    assert column(named(item, "ends"), "text") == ["probe", "surface", "exhaust"]


def test_overlays_are_drawn_from_the_start():
    """Marks, checks and ribbon of the first paint are in the figure unchanged."""
    overlays = {
        "marks": marks([("charge", 0.0)]),
        "checks": checks([("tan", 1.0, 190.0)]),
        "ribbon": ribbon([("radiant", 0.0, 4.5)], CONTROLS, 2.0),
    }
    item = filled(live_figure(CHANNELS, CONTROLS, COLUMNS, overlays))
    assert column(named(item, "marks"), "label") == ["charge"]
    assert column(named(item, "checks"), "letter") == ["T"]
    assert column(named(item, "ribbon"), "text") == ["4.5"]


def test_each_line_has_a_dash_of_its_own():
    """No two channels share a dash, since colour must not be the only distinction."""
    item = filled(live_figure(CHANNELS, CONTROLS, COLUMNS))
    fields = {channel.id for channel in CHANNELS}
    lines = [model["attributes"] for model in models(item) if model["name"] == "Line"]
    temps = [line for line in lines if line["y"]["field"] in fields and line.get("line_alpha", {}).get("value", 1) == 1]
    dashes = [str(line.get("line_dash", "solid")) for line in temps]
    assert len(dashes) == len(set(dashes)) == len(CHANNELS)


def test_themed_colours_name_a_known_token():
    """Each tag for a theme colour names an existing one."""
    tags = [
        dict(tag["entries"]) if "entries" in tag else tag
        for model in models(filled(live_figure(CHANNELS, CONTROLS, COLUMNS)))
        for tag in model.get("attributes", {}).get("tags", [])
    ]
    assert tags
    assert {token for tag in tags for token in tag.values()} <= TOKENS.keys()


def test_the_page_can_be_scrolled_over_the_chart():
    """No tool captures touch from the page, and there is no toolbar."""
    item = filled(live_figure(CHANNELS, CONTROLS, COLUMNS))
    figures = [model["attributes"] for model in models(item) if model["name"] == "Figure"]
    assert len(figures) == 3
    assert all(figure["toolbar_location"] is None for figure in figures)
    assert "PanTool" not in json.dumps(item)


def test_the_figure_is_plain_json():
    """The figure is JSON that a data block of the page can contain."""
    assert filled(live_figure(CHANNELS, CONTROLS, COLUMNS))["root_id"]


def test_the_panels_are_made_once_for_all_that_look_alike():
    """Another curve of the same machine reuses its panels; another unit has different ones."""
    one = live_figure(CHANNELS, CONTROLS, COLUMNS)
    asked = _panels.cache_info().misses
    other = live_figure(CHANNELS, CONTROLS, {"t_s": [0.0], "bean_probe": [150.0]})
    assert other.item is one.item
    assert _panels.cache_info().misses == asked
    assert live_figure(CHANNELS, CONTROLS, COLUMNS, temp_unit="F").item != one.item
    assert live_figure(CHANNELS[:2], CONTROLS, COLUMNS).item != one.item


def test_no_name_ends_the_element_that_holds_the_figure():
    """A data block has no character that could end its element, whatever a channel's name."""
    odd = [replace(CHANNELS[0], short="</script>&")]
    drawing = live_figure(odd, [replace(CONTROLS[0], name="<b>")], {"t_s": [0], "bean_probe": [150.0]})
    assert not set("<>&") & set(drawing.json())
    assert column(named(filled(drawing), "ends"), "text") == ["</script>&"]
