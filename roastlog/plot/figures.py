"""Curves as Bokeh figures: temperatures, rates and the ribbon of controls, one above the other.

A figure is made once and goes to the browser as a `json_item`. Colours here are those of the light theme; whatever
takes one from the page's theme carries a tag ``{property: token}``, and static/js/figure.js paints it anew from
``--token``. Curves stay in °C, and so does all that the page feeds them with later; an axis in °F has its ticks where
the round values of °F are. Import this module only where a figure is made: Bokeh takes its time to load.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from bokeh.core.properties import value
from bokeh.embed import json_item
from bokeh.layouts import column
from bokeh.models import (
    ColumnDataSource,
    FixedTicker,
    Line,
    Plot,
    Quad,
    Range1d,
    Scatter,
    Segment,
    SingleIntervalTicker,
    Text,
)
from bokeh.plotting import figure
from numpy.typing import ArrayLike, NDArray

from roastlog.errors import CurveError
from roastlog.plot.overlays import Columns, checks, marks, ribbon
from roastlog.units import c_from_f, rate_c_from_f

Columned = Mapping[str, ArrayLike]

# Okabe–Ito hues, darkened until they stand 3:1 and more off the paper; each role has a dash of its own besides.
TOKENS: Final[dict[str, str]] = {
    "probe": "#b85000",
    "surface": "#0072b2",
    "exhaust": "#00795a",
    "inlet": "#8f4a78",
    "drum": "#7a6a00",
    "room": "#635a51",
    "guide": "#7d7468",
    "ink": "#1c1713",
    "ink-2": "#635a51",
    "line": "#8c8172",
    "paper": "#faf6ee",
    "grid": "#ddd5c6",
    "bar": "#d3cabb",
}
_ROLES: Final[dict[str, tuple[str, str | list[int], float]]] = {  # role: token, dash, width [px]
    "bean_probe": ("probe", "solid", 2.6),
    "bean_surface": ("surface", [7, 4], 2.0),
    "exhaust_air": ("exhaust", [2, 3], 2.0),
    "inlet_air": ("inlet", [9, 3, 2, 3], 2.0),
    "drum": ("drum", [4, 2], 1.6),
    "room": ("room", [1, 4], 1.6),
}
_BEAN_ROLES: Final = frozenset({"bean_probe", "bean_surface"})

_LONGEST_MIN: Final = 60
_END_GAP_C: Final = 11.0  # a line of words on the record's panel
_FOUND_S: Final = 90.0
_MOST_RATE: Final = 60.0
_LEFT_PX, _RIGHT_PX = 46, 10
_FONT: Final = "system-ui, sans-serif"
_WORDS: Final = {"text_font_size": "12px", "text_font": value(_FONT)}


@dataclass(frozen=True)
class _Frame:
    """How large the panels are, and how much time they show."""

    temp_px: int
    rate_px: int
    lane_px: int
    tick_s: int
    tick_f: int  # a small phone has room for a number each 100 °F; in °C each 40 °C will do for both
    least_s: float
    room: float  # the axis reaches this many times as far as the curve, so that the words at its end fit

    def reach_s(self, end_s: float) -> float:
        return max(self.least_s, float(np.ceil(end_s * self.room / self.tick_s)) * self.tick_s)


_LIVE: Final = _Frame(temp_px=200, rate_px=90, lane_px=22, tick_s=120, tick_f=100, least_s=600.0, room=1.26)
_RECORD: Final = _Frame(temp_px=340, rate_px=150, lane_px=26, tick_s=60, tick_f=50, least_s=60.0, room=1.28)


def live_figure(
    channels: Sequence[Mapping[str, Any]],
    controls: Sequence[Mapping[str, Any]],
    columns: Columned,
    overlays: Mapping[str, Columns] | None = None,
    *,
    temp_unit: str = "C",
) -> dict[str, Any]:
    """The live page's panels as a `json_item`, to be embedded once and then fed by name.

    Parameters
    ----------
    channels, controls
        As in the live view: mappings with ``id``, ``role``, ``short`` and ``id``, ``name``, ``low``, ``high``.
    columns
        ``t_s`` [s from charge], a column for each channel [°C] and ``rate_…`` for each bean channel [°C/min], all of
        one length. A channel without one is drawn as gaps.
    overlays
        ``marks``, ``checks``, ``ribbon`` as `roastlog.plot.overlays` makes them, and ``guide`` (``t_s``, ``temp_c``),
        ``ahead`` (like marks). Each may be missing.
    temp_unit
        ``C`` or ``F``: what the axes read in.

    Returns
    -------
    dict
        Named sources in it: ``live``, ``ends``, ``marks``, ``ahead``, ``checks``, ``ribbon``, ``guide``; named ranges:
        ``time``, ``temp``, ``rate``, ``tiers``.
    """
    return _item(channels, controls, columns, overlays or {}, _LIVE, temp_unit)


def record_figure(
    channels: Sequence[Mapping[str, Any]],
    controls: Sequence[Mapping[str, Any]],
    columns: Columned,
    overlays: Mapping[str, Columns] | None = None,
    *,
    temp_unit: str = "C",
) -> dict[str, Any]:
    """The record page's panels: the same look, taller, the whole curve and no room for what is to come.

    Parameters and result are those of `live_figure`.
    """
    return _item(channels, controls, columns, overlays or {}, _RECORD, temp_unit)


def live_columns(channels: Sequence[Mapping[str, Any]], columns: Columned) -> dict[str, NDArray[np.float32]]:
    """All columns of the source ``live`` as float32, which halve the page's weight; a missing one is all gaps.

    Raises
    ------
    CurveError
        If a column is not as long as ``t_s``.
    """
    time_s = np.asarray(columns.get("t_s", ()), dtype=np.float32)
    names = [channel["id"] for channel in channels]
    names += [f"rate_{channel['id']}" for channel in channels if channel["role"] in _BEAN_ROLES]
    filled = {"t_s": time_s}
    for name in names:
        known = columns.get(name)
        filled[name] = np.full(time_s.shape, np.nan, np.float32) if known is None else np.asarray(known, np.float32)
        if filled[name].shape != time_s.shape:
            raise CurveError(f"Column {name} has {filled[name].size} values where t_s has {time_s.size}.")
    return filled


def _item(
    channels: Sequence[Mapping[str, Any]],
    controls: Sequence[Mapping[str, Any]],
    columns: Columned,
    overlays: Mapping[str, Columns],
    frame: _Frame,
    temp_unit: str,
) -> dict[str, Any]:
    data = live_columns(channels, columns)
    live = ColumnDataSource(data, name="live")
    end_s = float(data["t_s"][-1]) if data["t_s"].size else 0.0
    time = Range1d(0, frame.reach_s(end_s), name="time")
    temperatures = _temperatures(channels, live, time, frame)
    _reads_in(temperatures, _temp_ticks(temp_unit, frame), f"°{temp_unit}")
    temperatures.extra_y_ranges["tiers"] = Range1d(0, 1, name="tiers")  # a low panel shows its upper part only
    _rules(temperatures, overlays.get("marks"), "marks", dash="solid", ink="ink")
    _rules(temperatures, overlays.get("ahead"), "ahead", dash="dotted", ink="ink-2")
    _curves(temperatures, channels, live, overlays)
    rates = _rates(channels, live, time, frame)
    _reads_in(rates, _rate_ticks(temp_unit), f"°{temp_unit}/min")
    panels = [temperatures, rates]
    if controls:
        panels.append(_ribbon(controls, overlays.get("ribbon"), time, frame))
    item: dict[str, Any] = json_item(column(*panels, sizing_mode="stretch_width", spacing=0))
    return item


def _temperatures(channels: Sequence[Mapping[str, Any]], live: ColumnDataSource, time: Range1d, frame: _Frame) -> Plot:
    temps = [live.data[channel["id"]] for channel in channels]
    top = max([260.0, *(float(np.ceil(np.nanmax(temp) / 20 + 1)) * 20 for temp in temps if np.isfinite(temp).any())])
    panel = _panel(time, Range1d(60, top, name="temp"), frame.temp_px, name="temperatures")
    _minutes(panel, frame.tick_s, shown=True)
    return panel


def _curves(
    panel: Plot,
    channels: Sequence[Mapping[str, Any]],
    live: ColumnDataSource,
    overlays: Mapping[str, Columns],
) -> None:
    guide = ColumnDataSource(overlays.get("guide") or {"t_s": [], "temp_c": []}, name="guide")
    thin = Line(x="t_s", y="temp_c", line_width=1.2, line_color=TOKENS["guide"], tags=[{"line_color": "guide"}])
    panel.add_glyph(guide, thin)
    for channel in reversed(channels):
        panel.add_glyph(live, _line(channel, channel["id"]))
    _dots(panel, ColumnDataSource(overlays.get("checks") or checks([]), name="checks"))
    _ends(panel, channels, live)


def _rates(channels: Sequence[Mapping[str, Any]], live: ColumnDataSource, time: Range1d, frame: _Frame) -> Plot:
    shown = [live.data[f"rate_{channel['id']}"] for channel in channels if channel["role"] in _BEAN_ROLES]
    highest = _highest_rate(live.data["t_s"], shown)
    panel = _panel(time, Range1d(0, highest, name="rate"), frame.rate_px, name="rates")
    _minutes(panel, frame.tick_s, shown=False)
    panel.min_border_top = panel.min_border_bottom = 7  # else the first and the last tick lose half their number
    for channel in reversed(channels):
        if channel["role"] in _BEAN_ROLES:
            panel.add_glyph(live, _line(channel, f"rate_{channel['id']}"))
    return panel


def _highest_rate(time_s: NDArray[np.float32], rates: Sequence[NDArray[np.float32]]) -> float:
    """Where the rate axis ends. The first minutes are the probe finding the beans: they say nothing and are cut off."""
    said = [float(np.nanmax(rate, where=(time_s > _FOUND_S) & (rate < _MOST_RATE), initial=0.0)) for rate in rates]
    highest = max(said, default=0.0)
    return max(24.0, float(np.ceil(highest / 5)) * 5 + 2)


def _ribbon(controls: Sequence[Mapping[str, Any]], bars: Columns | None, time: Range1d, frame: _Frame) -> Plot:
    lanes = len(controls)
    panel = _panel(time, Range1d(0, lanes), frame.lane_px * lanes, name="lanes")
    middles = [lanes - 1 - row + 0.5 for row in range(lanes)]
    panel.yaxis.ticker = FixedTicker(ticks=middles)
    names = [_short(str(control["name"])) for control in controls]
    panel.yaxis.major_label_overrides = dict(zip(middles, names, strict=True))
    panel.ygrid.visible = panel.xaxis.visible = False
    source = ColumnDataSource(bars or ribbon([], controls, 0.0), name="ribbon")
    bar = Quad(left="left", right="right", bottom="bottom", top="top", fill_color=TOKENS["bar"])
    bar.line_color, bar.tags = TOKENS["paper"], [{"fill_color": "bar", "line_color": "paper"}]
    panel.add_glyph(source, bar)
    edge = Segment(x0="left", x1="right", y0="top", y1="top", line_color=TOKENS["line"], line_width=1.5)
    edge.tags = [{"line_color": "line"}]  # the fill is pale; the edge is what stands out 3:1
    panel.add_glyph(source, edge)
    words = Text(x="left", y="top", text="text", x_offset=3, y_offset=-1, text_color=TOKENS["ink"], **_WORDS)
    words.tags = [{"text_color": "ink"}]
    panel.add_glyph(source, words)
    return panel


def _panel(time: Range1d, y_range: Range1d, height_px: int, *, name: str) -> Plot:
    panel = figure(
        name=name,
        height=height_px,
        sizing_mode="stretch_width",
        x_range=time,
        y_range=y_range,
        tools="",
        toolbar_location=None,
        output_backend="canvas",
        min_border=2,
        min_border_left=_LEFT_PX,
        min_border_right=_RIGHT_PX,
        background_fill_alpha=0,
        border_fill_alpha=0,
        outline_line_color=None,
        lod_threshold=None,
    )
    for axis in (panel.xaxis[0], panel.yaxis[0]):
        axis.axis_line_color = axis.major_tick_line_color = axis.minor_tick_line_color = None
        axis.major_label_text_font_size, axis.major_label_text_font = "12px", _FONT
        axis.major_label_text_color = TOKENS["ink-2"]
        axis.major_label_standoff, axis.major_tick_out = 2, 3
        axis.tags = [{"major_label_text_color": "ink-2"}]
    panel.grid.grid_line_color = TOKENS["grid"]
    for grid in panel.grid:
        grid.tags = [{"grid_line_color": "grid"}]
    panel.xgrid.visible = False
    return panel


def _minutes(panel: Plot, every_s: int, *, shown: bool) -> None:
    # Labels by a list, since a formatter of our own would need eval, which the page's policy forbids.
    panel.xaxis.ticker = SingleIntervalTicker(interval=every_s, num_minor_ticks=0)
    panel.xaxis.major_label_overrides = {60 * minute: str(minute) for minute in range(_LONGEST_MIN + 1)}
    panel.xaxis.visible = shown


def _line(channel: Mapping[str, Any], field: str) -> Line:
    token, dash, width_px = _ROLES[channel["role"]]
    return Line(
        x="t_s",
        y=field,
        line_width=width_px,
        line_dash=dash,
        line_join="round",
        line_color=TOKENS[token],
        tags=[{"line_color": token}],
    )


def _rules(panel: Plot, columns: Columns | None, name: str, *, dash: str, ink: str) -> None:
    source = ColumnDataSource(columns or marks([]), name=name)
    rule = Segment(x0="t_s", x1="t_s", y0=value(0), y1="y", line_color=TOKENS[ink], line_width=1, line_dash=dash)
    rule.tags = [{"line_color": ink}]
    panel.add_glyph(source, rule, y_range_name="tiers")
    words = Text(x="t_s", y="y", text="label", x_offset=4, text_baseline="top", text_color=TOKENS[ink], **_WORDS)
    words.tags = [{"text_color": ink}]
    panel.add_glyph(source, words, y_range_name="tiers")


def _dots(panel: Plot, source: ColumnDataSource) -> None:
    dot = Scatter(x="t_s", y="temp_c", size=19, fill_color="fill", line_color=TOKENS["ink"], line_width=1.6)
    dot.tags = [{"line_color": "ink"}]
    panel.add_glyph(source, dot)
    centred = {"text_align": "center", "text_baseline": "middle", "text_font_style": "bold"}
    panel.add_glyph(source, Text(x="t_s", y="temp_c", text="letter", text_color="ink", **centred, **_WORDS))


def _ends(panel: Plot, channels: Sequence[Mapping[str, Any]], live: ColumnDataSource) -> None:
    """A word at the end of each line, in place of a legend; the page moves them along with the lines."""
    rows = []
    for channel in channels:
        here = np.flatnonzero(np.isfinite(live.data[channel["id"]]))
        last = here[-1] if here.size else None
        rows.append(
            {
                "t_s": float("nan") if last is None else float(live.data["t_s"][last]),
                "temp_c": float("nan") if last is None else float(live.data[channel["id"]][last]),
                "text": channel["short"],
                "channel": channel["id"],
                "token": _ROLES[channel["role"]][0],
                "color": TOKENS[_ROLES[channel["role"]][0]],
            },
        )
    for row, temp_c in zip(rows, _apart([row["temp_c"] for row in rows], _END_GAP_C), strict=True):
        row["temp_c"] = temp_c
    names = ("t_s", "temp_c", "text", "channel", "token", "color")
    source = ColumnDataSource({name: [row[name] for row in rows] for name in names}, name="ends")
    # Clear of a trier check's dot at the line's end, and on paper, so that no curve or rule runs through them.
    words = Text(x="t_s", y="temp_c", text="text", x_offset=12, text_baseline="middle", text_color="color", **_WORDS)
    words.text_font_style, words.background_fill_color, words.tags = (
        "bold",
        TOKENS["paper"],
        [{"background_fill_color": "paper"}],
    )
    panel.add_glyph(source, words)


def _apart(temps_c: Sequence[float], gap_c: float) -> list[float]:
    """The same temperatures, each moved up until it stands clear of the one below it. NaN stays."""
    placed, below = list(temps_c), -np.inf
    for index in sorted((i for i, temp_c in enumerate(temps_c) if np.isfinite(temp_c)), key=lambda i: temps_c[i]):
        below = placed[index] = max(placed[index], below + gap_c)
    return placed


def _temp_ticks(unit: str, frame: _Frame) -> dict[float, str]:
    """Where the ticks of the upper axis stand [°C], and what they say."""
    if unit == "F":
        return {c_from_f(temp_f): str(temp_f) for temp_f in range(0, 1801, frame.tick_f)}
    return {temp_c: str(temp_c) for temp_c in range(0, 1001, 40)}


def _rate_ticks(unit: str) -> dict[float, str]:
    """Where the ticks of the lower axis stand [°C/min], and what they say."""
    if unit == "F":
        return {rate_c_from_f(rate_f): str(rate_f).replace("-", "−") for rate_f in range(-100, 101, 20)}
    return {rate_c: str(rate_c).replace("-", "−") for rate_c in range(-60, 61, 10)}


def _reads_in(panel: Plot, ticks: Mapping[float, str], unit: str) -> None:
    """Ticks of the vertical axis, and its unit in the lower right of the panel: the corner that no curve comes to."""
    panel.yaxis.ticker = FixedTicker(ticks=list(ticks))
    panel.yaxis.major_label_overrides = dict(ticks)
    panel.extra_x_ranges = {"share": Range1d(0, 1)}
    panel.extra_y_ranges = {"unit": Range1d(0, 1)}
    words = Text(x=value(1), y=value(0.03), text="text", text_align="right", text_color=TOKENS["ink-2"], **_WORDS)
    words.tags = [{"text_color": "ink-2"}]
    source = ColumnDataSource({"text": [unit]})
    panel.add_glyph(source, words, x_range_name="share", y_range_name="unit")


def _short(name: str) -> str:
    """A control's name for the narrow margin: whole if it fits, else its first word, else cut."""
    word = name if len(name) <= 7 else name.split(maxsplit=1)[0]
    return word if len(word) <= 8 else f"{word[:7]}…"
