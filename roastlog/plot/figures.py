"""Roast curves as Bokeh figures: temperatures, rates and the ribbon of controls, stacked.

The panels are cached for all batches with the same layout (`roastlog.plot.drawing`). Colours here are those of the
light theme; a glyph with a colour of the page's theme carries a tag ``{property: token}``, and
static/js/core/figure.js recolours it from ``--token``. Curves and all later data are in °C; an axis in °F has its
ticks at round values of °F. Import this module only where a figure is made: Bokeh loads slowly.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from functools import lru_cache
from typing import Any, Final

import numpy as np
from bokeh.models import ColumnDataSource, Line, Plot, Range1d, Scatter, Text
from numpy.typing import NDArray

from roastlog import languages
from roastlog.errors import CurveError
from roastlog.machine.model import BEAN_ROLES
from roastlog.machine.views import ChannelView, ControlView
from roastlog.plot.drawing import KEPT, Columned, Drawing, key_of, panels_json, shape_of
from roastlog.plot.overlays import checks
from roastlog.plot.panels import (
    LIVE,
    RECORD,
    SETTLED_S,
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

_Curves = Mapping[str, NDArray[np.float32]]

_ROLES: Final[dict[str, tuple[str, str | list[int], float]]] = {  # role: token, dash, width [px]
    "bean_probe": ("probe", "solid", 2.6),
    "bean_surface": ("surface", [7, 4], 2.0),
    "exhaust_air": ("exhaust", [2, 3], 2.0),
    "inlet_air": ("inlet", [9, 3, 2, 3], 2.0),
    "drum": ("drum", [4, 2], 1.6),
    "room": ("room", [1, 4], 1.6),
}

_LIVE_BESIDE: Final = {"line_width": 1.6, "line_dash": [1, 3]}  # the live line beside the smoothed one

_END_GAP_C: Final = 11.0  # height of a line of text on the record's panel
_END_GAP_PX: Final = 15
_MOST_RATE, _LEAST_RATE = 60.0, 24.0


def live_figure(
    channels: Sequence[ChannelView],
    controls: Sequence[ControlView],
    columns: Columned,
    overlays: Mapping[str, Columned] | None = None,
    *,
    temp_unit: str = "C",
) -> Drawing:
    """Panels of the live page, embedded once and then updated by name.

    Parameters
    ----------
    channels, controls
        Those of the machine; for a removed machine, the columns that are left.
    columns
        ``t_s`` [s from charge], a column for each channel [°C] and ``rate_…`` for each bean channel [°C/min], all of
        one length. A channel without one is drawn as gaps.
    overlays
        ``marks``, ``checks``, ``ribbon`` from `roastlog.plot.overlays`, and ``guide`` (``t_s``, ``temp_c``),
        ``ahead`` (like ``coming`` there). Each may be missing.
    temp_unit
        Unit of the axes, ``C`` or ``F``.

    Returns
    -------
    Drawing
        Named sources in it: ``live``, ``ends``, ``marks``, ``ahead``, ``checks``, ``ribbon``, ``guide``; named ranges:
        ``time``, ``temp``, ``rate``, ``tiers``.
    """
    return _drawing(channels, controls, columns, overlays or {}, LIVE, temp_unit)


def record_figure(
    channels: Sequence[ChannelView],
    controls: Sequence[ControlView],
    columns: Columned,
    overlays: Mapping[str, Columned] | None = None,
    *,
    smooth: Columned | None = None,
    temp_unit: str = "C",
) -> Drawing:
    """Panels of the record page: like the live ones, but taller, and just long enough for the whole curve.

    Parameters and result are those of `live_figure`, and also:

    Parameters
    ----------
    overlays
        ``faults`` from `roastlog.plot.overlays`: bars on the time axis.
    smooth
        ``t_s``, and for each smoothed bean channel ``smooth_…`` [°C] and ``smooth_rate_…`` [°C/min]. Names of their
        renderers begin with “smooth ”. The alternatives are invisible at first: renderers of the live values have
        names that begin with “live ”, those that show both begin with “both ”.
    """
    return _drawing(channels, controls, columns, overlays or {}, RECORD, temp_unit, smooth)


def live_columns(channels: Sequence[ChannelView], columns: Columned) -> dict[str, NDArray[np.float32]]:
    """All columns of the source ``live`` as float32, to halve the page's size; a missing one becomes all gaps.

    Raises
    ------
    CurveError
        If a column is not as long as ``t_s``.
    """
    time_s = np.asarray(columns.get("t_s", ()), dtype=np.float32)
    names = [channel.id for channel in channels]
    names += [f"rate_{channel.id}" for channel in channels if channel.role in BEAN_ROLES]
    filled = {"t_s": time_s}
    for name in names:
        known = columns.get(name)
        filled[name] = np.full(time_s.shape, np.nan, np.float32) if known is None else np.asarray(known, np.float32)
        if filled[name].shape != time_s.shape:
            raise CurveError(f"Column {name} has {filled[name].size} values where t_s has {time_s.size}.")
    return filled


def _drawing(
    channels: Sequence[ChannelView],
    controls: Sequence[ControlView],
    columns: Columned,
    overlays: Mapping[str, Columned],
    frame: Frame,
    temp_unit: str,
    smooth: Columned | None = None,
) -> Drawing:
    live = live_columns(channels, columns)
    smoothed = {name: np.asarray(values, np.float32) for name, values in (smooth or {}).items()}
    lines = [replace(channel, name="") for channel in channels]  # the panels do not show names
    lanes = [control.name for control in controls]
    key = key_of(frame is RECORD, list(map(asdict, lines)), lanes, sorted(smoothed), temp_unit, languages.current())
    highest = _highest_rate(live, smoothed, lines)
    end_s = float(live["t_s"][-1]) if live["t_s"].size else 0.0
    sources: dict[str, Columned] = {"live": live, "smoothed": smoothed, "ends": _ends(lines, live), **overlays}
    sources |= _rate_ends(lines, live, smoothed, highest * _END_GAP_PX / frame.rate_px)
    ranges = {
        "time": (0.0, frame.reach_s(end_s)),
        "temp": (60.0, _highest_temp(lines, live, frame)),
        "rate": (0.0, highest),
    }
    return Drawing(_panels(key), sources, ranges)


@lru_cache(maxsize=KEPT)
def _panels(key: str) -> str:
    """Panels of all batches with the same layout, with empty columns."""
    whole, lines, lanes, smoothed, temp_unit, _language = shape_of(key)
    channels = [ChannelView(**line) for line in lines]
    frame = RECORD if whole else LIVE
    live = ColumnDataSource(live_columns(channels, {}), name="live")
    smooth = ColumnDataSource({name: [] for name in smoothed}, name="smoothed")
    time = Range1d(0, frame.least_s, name="time")
    temperatures = new_panel(time, Range1d(60, 260, name="temp"), frame.temp_px, name="temperatures")
    minutes(temperatures, frame.tick_s, shown=True)
    reads_in(temperatures, temp_ticks(temp_unit, frame), f"°{temp_unit}")
    temperatures.extra_y_ranges["tiers"] = Range1d(0, 1, name="tiers")  # a low panel shows only its upper part
    rules(temperatures, "marks", dash="solid", ink="ink")
    rules(temperatures, "ahead", dash="dotted", ink="ink-2", band=True)
    _curves(temperatures, channels, live, smooth)
    rates = _rates(channels, live, smooth, time, frame)
    reads_in(rates, rate_ticks(temp_unit), f"°{temp_unit}/min")
    foot_bars(rates)
    panels = [temperatures, rates]
    if lanes:
        panels.append(lanes_panel(lanes, time, frame))
    return panels_json(panels)


def _highest_temp(channels: Sequence[ChannelView], live: _Curves, frame: Frame) -> float:
    temps = [live[channel.id] for channel in channels]
    above = 2 if frame is RECORD else 1  # a record has fixed labels at the ends and the drop, which need the room
    return max(
        [260.0, *(float(np.ceil(np.nanmax(temp) / 20 + above)) * 20 for temp in temps if np.isfinite(temp).any())]
    )


def _curves(panel: Plot, channels: Sequence[ChannelView], live: ColumnDataSource, smoothed: ColumnDataSource) -> None:
    guide = ColumnDataSource({"t_s": [], "temp_c": []}, name="guide")
    thin = Line(x="t_s", y="temp_c", line_width=1.2, line_color=TOKENS["guide"], tags=[{"line_color": "guide"}])
    panel.add_glyph(guide, thin)
    for channel in reversed(channels):
        _trace(panel, channel, channel.id, live, smoothed)
    _dots(panel, ColumnDataSource(checks([]), name="checks"))
    _end_words(panel, channels)


def _trace(panel: Plot, channel: ChannelView, field: str, live: ColumnDataSource, smoothed: ColumnDataSource) -> None:
    """One line; if it was smoothed, the smoothed one, and two that can replace it or be shown beside it.

    Manual readings are points, since the values between them are unknown.
    """
    if channel.by_hand:
        panel.add_glyph(live, _points(channel, field), name=f"points {field}")
        return
    as_live = panel.add_glyph(live, _line(channel, field))
    if f"smooth_{field}" in smoothed.data:
        as_live.name, as_live.visible = f"live {field}", False
        panel.add_glyph(live, _line(channel, field, **_LIVE_BESIDE), name=f"both {field}", visible=False)
        panel.add_glyph(smoothed, _line(channel, f"smooth_{field}"), name=f"smooth {field}")


def _rate_fields(channels: Sequence[ChannelView]) -> list[tuple[ChannelView, str]]:
    return [(channel, f"rate_{channel.id}") for channel in channels if channel.role in BEAN_ROLES]


def _rates(
    channels: Sequence[ChannelView],
    live: ColumnDataSource,
    smoothed: ColumnDataSource,
    time: Range1d,
    frame: Frame,
) -> Plot:
    fields = _rate_fields(channels)
    panel = new_panel(time, Range1d(0, _LEAST_RATE, name="rate"), frame.rate_px, name="rates")
    minutes(panel, frame.tick_s, shown=False)
    panel.min_border_top = panel.min_border_bottom = 7  # otherwise the first and the last label are cut in half
    for channel, field in reversed(fields):
        _trace(panel, channel, field, live, smoothed)
    for channel, field in fields:
        if f"smooth_{field}" in smoothed.data:
            for word in (" live", ""):
                _rate_end_words(panel, channel, word)
    return panel


def _rate_end_words(panel: Plot, channel: ChannelView, word: str) -> None:
    """A label that distinguishes a smoothed rate from the live one if both are drawn."""
    token = _look(channel)[0]
    words = Text(x="t_s", y="rate", text="text", x_offset=5, text_baseline="middle", **WORDS)
    words.text_color, words.tags = TOKENS[token], [{"text_color": token}]
    name = f"both words {channel.id}{word}"
    source = ColumnDataSource({"t_s": [], "rate": [], "text": []}, name=f"of {name}")
    panel.add_glyph(source, words, name=name, visible=False)


def _rate_ends(
    channels: Sequence[ChannelView],
    live: _Curves,
    smoothed: _Curves,
    gap: float,
) -> dict[str, Columned]:
    """Positions of the labels of both rates: at their ends, without overlap."""
    ends = []
    for channel, field in _rate_fields(channels):
        if f"smooth_{field}" in smoothed:
            for word, column in ((" live", live[field]), ("", smoothed[f"smooth_{field}"])):
                here = np.flatnonzero(np.isfinite(column))
                if here.size:
                    ends.append((channel, word, float(live["t_s"][here[-1]]), float(column[here[-1]])))
    placed = apart([max(0.0, rate) for *_, rate in ends], gap)
    return {
        f"of both words {channel.id}{word}": {"t_s": [at_s], "rate": [rate], "text": [f"{channel.short}{word}"]}
        for (channel, word, at_s, _), rate in zip(ends, placed, strict=True)
    }


def _highest_rate(
    live: _Curves,
    smoothed: _Curves,
    channels: Sequence[ChannelView],
) -> float:
    """Upper end of the rate axis. It ignores the first minutes, while the probe catches up with the beans."""
    fields = [field for _, field in _rate_fields(channels)]
    rates = [live[field] for field in fields]
    rates += [smoothed[f"smooth_{field}"] for field in fields if f"smooth_{field}" in smoothed]
    settled = live["t_s"] > SETTLED_S
    highest = [float(np.nanmax(rate, where=settled & (rate < _MOST_RATE), initial=0.0)) for rate in rates]
    return max(_LEAST_RATE, float(np.ceil(max(highest, default=0.0) / 5)) * 5 + 2)


def _look(channel: ChannelView) -> tuple[str, str | list[int], float]:
    """Token, dash and width of a channel; one of a removed machine, whose role is unknown, gets those of the room."""
    return _ROLES.get(channel.role, _ROLES["room"])


def _points(channel: ChannelView, field: str) -> Scatter:
    token, _, width_px = _look(channel)
    points = Scatter(x="t_s", y=field, size=4 * width_px, line_color=TOKENS[token], fill_color=TOKENS[token])
    points.tags = [{"line_color": token, "fill_color": token}]
    return points


def _line(channel: ChannelView, field: str, **other: Any) -> Line:  # noqa: ANN401 - properties of a line
    token, dash, width_px = _look(channel)
    own = {"line_width": width_px, "line_dash": dash, "line_join": "round", "line_color": TOKENS[token]} | other
    return Line(x="t_s", y=field, tags=[{"line_color": token}], **own)


def _dots(panel: Plot, source: ColumnDataSource) -> None:
    dot = Scatter(x="t_s", y="temp_c", size=19, fill_color="fill", line_color=TOKENS["ink"], line_width=1.6)
    dot.tags = [{"line_color": "ink"}]
    panel.add_glyph(source, dot)
    centred = {"text_align": "center", "text_baseline": "middle", "text_font_style": "bold"}
    panel.add_glyph(source, Text(x="t_s", y="temp_c", text="letter", text_color="ink", **centred, **WORDS))


def _ends(channels: Sequence[ChannelView], live: _Curves) -> Columned:
    """Positions of the lines' labels: at their ends, without overlap; the live page moves them along."""
    at_s, temps = [float("nan")] * len(channels), [float("nan")] * len(channels)
    for place, channel in enumerate(channels):
        here = np.flatnonzero(np.isfinite(live[channel.id]))
        if here.size:
            at_s[place], temps[place] = float(live["t_s"][here[-1]]), float(live[channel.id][here[-1]])
    return {"t_s": at_s, "temp_c": apart(temps, _END_GAP_C)}


def _end_words(panel: Plot, channels: Sequence[ChannelView]) -> None:
    """A label at the end of each line, in place of a legend."""
    tokens = [_look(channel)[0] for channel in channels]
    columns = {
        "t_s": [float("nan")] * len(channels),
        "temp_c": [float("nan")] * len(channels),
        "text": [channel.short for channel in channels],
        "channel": [channel.id for channel in channels],
        "token": tokens,
        "color": [TOKENS[token] for token in tokens],
    }
    source = ColumnDataSource(columns, name="ends")
    # Clear of a trier check's dot at the line's end, and with a background, so that no curve or rule crosses them.
    words = Text(x="t_s", y="temp_c", text="text", x_offset=12, text_baseline="middle", text_color="color", **WORDS)
    words.text_font_style, words.background_fill_color, words.tags = (
        "bold",
        TOKENS["paper"],
        [{"background_fill_color": "paper"}],
    )
    panel.add_glyph(source, words)
