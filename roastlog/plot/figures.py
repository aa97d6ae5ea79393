"""Curves as Bokeh figures: temperatures, rates and the ribbon of controls, one above the other.

A figure is made once and goes to the browser as a `json_item`. Colours here are those of the light theme; whatever
takes one from the page's theme carries a tag ``{property: token}``, and static/js/core/figure.js paints it anew from
``--token``. Curves stay in °C, and so does all that the page feeds them with later; an axis in °F has its ticks where
the round values of °F are. Import this module only where a figure is made: Bokeh takes its time to load.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from bokeh.embed import json_item
from bokeh.layouts import column
from bokeh.models import ColumnDataSource, Line, Plot, Range1d, Scatter, Text
from numpy.typing import ArrayLike, NDArray

from roastlog.errors import CurveError
from roastlog.machine.model import BEAN_ROLES
from roastlog.plot.overlays import Columns, checks
from roastlog.plot.panels import (
    LIVE,
    RECORD,
    TOKENS,
    WORDS,
    Frame,
    apart,
    foot_bars,
    lanes_panel,
    minutes,
    new_panel,
    rate_ticks,
    reads_in,
    rules,
    temp_ticks,
)

Columned = Mapping[str, ArrayLike]

_ROLES: Final[dict[str, tuple[str, str | list[int], float]]] = {  # role: token, dash, width [px]
    "bean_probe": ("probe", "solid", 2.6),
    "bean_surface": ("surface", [7, 4], 2.0),
    "exhaust_air": ("exhaust", [2, 3], 2.0),
    "inlet_air": ("inlet", [9, 3, 2, 3], 2.0),
    "drum": ("drum", [4, 2], 1.6),
    "room": ("room", [1, 4], 1.6),
}

_LIVE_BESIDE: Final = {"line_width": 1.6, "line_dash": [1, 3]}  # the live line where the smoothed one is drawn too

_END_GAP_C: Final = 11.0  # a line of words on the record's panel
_END_GAP_PX: Final = 15
_FOUND_S: Final = 90.0
_MOST_RATE: Final = 60.0


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
        As in the live view: mappings with ``id``, ``role``, ``short`` (and ``by_hand``), and with ``id``, ``name``,
        ``low``, ``high``.
    columns
        ``t_s`` [s from charge], a column for each channel [°C] and ``rate_…`` for each bean channel [°C/min], all of
        one length. A channel without one is drawn as gaps.
    overlays
        ``marks``, ``checks``, ``ribbon`` as `roastlog.plot.overlays` makes them, and ``guide`` (``t_s``, ``temp_c``),
        ``ahead`` (like ``coming`` there). Each may be missing.
    temp_unit
        ``C`` or ``F``: what the axes read in.

    Returns
    -------
    dict
        Named sources in it: ``live``, ``ends``, ``marks``, ``ahead``, ``checks``, ``ribbon``, ``guide``; named ranges:
        ``time``, ``temp``, ``rate``, ``tiers``.
    """
    return _item(channels, controls, columns, overlays or {}, LIVE, temp_unit)


def record_figure(
    channels: Sequence[Mapping[str, Any]],
    controls: Sequence[Mapping[str, Any]],
    columns: Columned,
    overlays: Mapping[str, Columns] | None = None,
    *,
    smooth: Columned | None = None,
    temp_unit: str = "C",
) -> dict[str, Any]:
    """The record page's panels: the same look, taller, the whole curve and no room for what is to come.

    Parameters and result are those of `live_figure`, and besides:

    Parameters
    ----------
    overlays
        ``faults`` as `roastlog.plot.overlays` makes them: bars on the time axis.
    smooth
        ``t_s``, and for a bean channel that was smoothed ``smooth_…`` [°C] and ``smooth_rate_…`` [°C/min]. What is
        drawn of them has a name that begins with “smooth ”; what shows the live values in their place begins with
        “live ” and is not visible, nor is what belongs to both on each other, which begins with “both ”.
    """
    return _item(channels, controls, columns, overlays or {}, RECORD, temp_unit, smooth)


def live_columns(channels: Sequence[Mapping[str, Any]], columns: Columned) -> dict[str, NDArray[np.float32]]:
    """All columns of the source ``live`` as float32, which halve the page's weight; a missing one is all gaps.

    Raises
    ------
    CurveError
        If a column is not as long as ``t_s``.
    """
    time_s = np.asarray(columns.get("t_s", ()), dtype=np.float32)
    names = [channel["id"] for channel in channels]
    names += [f"rate_{channel['id']}" for channel in channels if channel["role"] in BEAN_ROLES]
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
    frame: Frame,
    temp_unit: str,
    smooth: Columned | None = None,
) -> dict[str, Any]:
    data = live_columns(channels, columns)
    live = ColumnDataSource(data, name="live")
    smoothed = ColumnDataSource({name: np.asarray(values, np.float32) for name, values in (smooth or {}).items()})
    end_s = float(data["t_s"][-1]) if data["t_s"].size else 0.0
    time = Range1d(0, frame.reach_s(end_s), name="time")
    temperatures = _temperatures(channels, live, time, frame)
    reads_in(temperatures, temp_ticks(temp_unit, frame), f"°{temp_unit}")
    temperatures.extra_y_ranges["tiers"] = Range1d(0, 1, name="tiers")  # a low panel shows its upper part only
    rules(temperatures, overlays.get("marks"), "marks", dash="solid", ink="ink")
    rules(temperatures, overlays.get("ahead"), "ahead", dash="dotted", ink="ink-2", band=True)
    _curves(temperatures, channels, live, smoothed, overlays)
    rates = _rates(channels, live, smoothed, time, frame)
    reads_in(rates, rate_ticks(temp_unit), f"°{temp_unit}/min")
    foot_bars(rates, overlays.get("faults"))
    panels = [temperatures, rates]
    if controls:
        panels.append(lanes_panel(controls, overlays.get("ribbon"), time, frame))
    item: dict[str, Any] = json_item(column(*panels, sizing_mode="stretch_width", spacing=0))
    return item


def _temperatures(channels: Sequence[Mapping[str, Any]], live: ColumnDataSource, time: Range1d, frame: Frame) -> Plot:
    temps = [live.data[channel["id"]] for channel in channels]
    above = 2 if frame is RECORD else 1  # there the words at the ends and the drop's stand still and need the room
    top = max(
        [260.0, *(float(np.ceil(np.nanmax(temp) / 20 + above)) * 20 for temp in temps if np.isfinite(temp).any())]
    )
    panel = new_panel(time, Range1d(60, top, name="temp"), frame.temp_px, name="temperatures")
    minutes(panel, frame.tick_s, shown=True)
    return panel


def _curves(
    panel: Plot,
    channels: Sequence[Mapping[str, Any]],
    live: ColumnDataSource,
    smoothed: ColumnDataSource,
    overlays: Mapping[str, Columns],
) -> None:
    guide = ColumnDataSource(overlays.get("guide") or {"t_s": [], "temp_c": []}, name="guide")
    thin = Line(x="t_s", y="temp_c", line_width=1.2, line_color=TOKENS["guide"], tags=[{"line_color": "guide"}])
    panel.add_glyph(guide, thin)
    for channel in reversed(channels):
        _trace(panel, channel, channel["id"], live, smoothed)
    _dots(panel, ColumnDataSource(overlays.get("checks") or checks([]), name="checks"))
    _ends(panel, channels, live)


def _trace(
    panel: Plot, channel: Mapping[str, Any], field: str, live: ColumnDataSource, smoothed: ColumnDataSource
) -> None:
    """One line; or where it was smoothed, the smoothed one, and two that can be shown in its place or beside it.

    What a person reads now and then is points: nobody knows what was between them.
    """
    if channel.get("by_hand"):
        panel.add_glyph(live, _points(channel, field), name=f"points {field}")
        return
    as_live = panel.add_glyph(live, _line(channel, field))
    if f"smooth_{field}" in smoothed.data:
        as_live.name, as_live.visible = f"live {field}", False
        panel.add_glyph(live, _line(channel, field, **_LIVE_BESIDE), name=f"both {field}", visible=False)
        panel.add_glyph(smoothed, _line(channel, f"smooth_{field}"), name=f"smooth {field}")


def _rates(
    channels: Sequence[Mapping[str, Any]],
    live: ColumnDataSource,
    smoothed: ColumnDataSource,
    time: Range1d,
    frame: Frame,
) -> Plot:
    fields = [(channel, f"rate_{channel['id']}") for channel in channels if channel["role"] in BEAN_ROLES]
    shown = [live.data[field] for _, field in fields]
    shown += [smoothed.data[f"smooth_{field}"] for _, field in fields if f"smooth_{field}" in smoothed.data]
    highest = _highest_rate(live.data["t_s"], shown)
    panel = new_panel(time, Range1d(0, highest, name="rate"), frame.rate_px, name="rates")
    minutes(panel, frame.tick_s, shown=False)
    panel.min_border_top = panel.min_border_bottom = 7  # else the first and the last tick lose half their number
    for channel, field in reversed(fields):
        _trace(panel, channel, field, live, smoothed)
    _rate_ends(panel, fields, live, smoothed, highest * _END_GAP_PX / frame.rate_px)
    return panel


def _rate_ends(
    panel: Plot,
    fields: Sequence[tuple[Mapping[str, Any], str]],
    live: ColumnDataSource,
    smoothed: ColumnDataSource,
    gap: float,
) -> None:
    """Words that tell the smoothed rates from the live ones, where both are drawn."""
    ends = []
    for channel, field in fields:
        if f"smooth_{field}" in smoothed.data:
            for word, column in ((" live", live.data[field]), ("", smoothed.data[f"smooth_{field}"])):
                here = np.flatnonzero(np.isfinite(column))
                if here.size:
                    ends.append((channel, word, float(live.data["t_s"][here[-1]]), float(column[here[-1]])))
    for (channel, word, at_s, _), rate in zip(ends, apart([max(0.0, rate) for *_, rate in ends], gap), strict=True):
        token = _look(channel)[0]
        words = Text(x="t_s", y="rate", text="text", x_offset=5, text_baseline="middle", **WORDS)
        words.text_color, words.tags = TOKENS[token], [{"text_color": token}]
        source = ColumnDataSource({"t_s": [at_s], "rate": [rate], "text": [f"{channel['short']}{word}"]})
        panel.add_glyph(source, words, name=f"both words {channel['id']}{word}", visible=False)


def _highest_rate(time_s: NDArray[np.float32], rates: Sequence[NDArray[np.float32]]) -> float:
    """Where the rate axis ends. The first minutes are the probe finding the beans: they say nothing and are cut off."""
    said = [float(np.nanmax(rate, where=(time_s > _FOUND_S) & (rate < _MOST_RATE), initial=0.0)) for rate in rates]
    highest = max(said, default=0.0)
    return max(24.0, float(np.ceil(highest / 5)) * 5 + 2)


def _look(channel: Mapping[str, Any]) -> tuple[str, str | list[int], float]:
    """Token, dash and width of a channel; one whose machine was taken away, so that nobody knows its role, is plain."""
    return _ROLES.get(channel["role"], _ROLES["room"])


def _points(channel: Mapping[str, Any], field: str) -> Scatter:
    token, _, width_px = _look(channel)
    points = Scatter(x="t_s", y=field, size=4 * width_px, line_color=TOKENS[token], fill_color=TOKENS[token])
    points.tags = [{"line_color": token, "fill_color": token}]
    return points


def _line(channel: Mapping[str, Any], field: str, **other: Any) -> Line:  # noqa: ANN401 - properties of a line
    token, dash, width_px = _look(channel)
    own = {"line_width": width_px, "line_dash": dash, "line_join": "round", "line_color": TOKENS[token]} | other
    return Line(x="t_s", y=field, tags=[{"line_color": token}], **own)


def _dots(panel: Plot, source: ColumnDataSource) -> None:
    dot = Scatter(x="t_s", y="temp_c", size=19, fill_color="fill", line_color=TOKENS["ink"], line_width=1.6)
    dot.tags = [{"line_color": "ink"}]
    panel.add_glyph(source, dot)
    centred = {"text_align": "center", "text_baseline": "middle", "text_font_style": "bold"}
    panel.add_glyph(source, Text(x="t_s", y="temp_c", text="letter", text_color="ink", **centred, **WORDS))


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
                "token": _look(channel)[0],
                "color": TOKENS[_look(channel)[0]],
            },
        )
    for row, temp_c in zip(rows, apart([row["temp_c"] for row in rows], _END_GAP_C), strict=True):
        row["temp_c"] = temp_c
    names = ("t_s", "temp_c", "text", "channel", "token", "color")
    source = ColumnDataSource({name: [row[name] for row in rows] for name in names}, name="ends")
    # Clear of a trier check's dot at the line's end, and on paper, so that no curve or rule runs through them.
    words = Text(x="t_s", y="temp_c", text="text", x_offset=12, text_baseline="middle", text_color="color", **WORDS)
    words.text_font_style, words.background_fill_color, words.tags = (
        "bold",
        TOKENS["paper"],
        [{"background_fill_color": "paper"}],
    )
    panel.add_glyph(source, words)
