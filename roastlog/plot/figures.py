"""Roast curves as Bokeh figures: temperatures, rates and the ribbon of controls, stacked.

The panels are cached for all batches with the same layout (`roastlog.plot.drawing`). Colours here are those of the
light theme; a glyph with a colour of the page's theme carries a tag ``{property: token}``, from which
static/js/core/figure/figure.js recolours it. Curves and all later data are in °C; an axis in °F has its ticks at round
values of °F. Import this module only where a figure is made: Bokeh loads slowly.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from functools import lru_cache
from typing import Any, Final

import numpy as np
from bokeh.models import ColumnDataSource, GlyphRenderer, Line, Plot, Range1d, Rect, Scatter, Text
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
    TOKENS,
    WORDS,
    Frame,
    draw,
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

_END_PX: Final = 7  # from a line's end to its label
_EVERY: Final = {"C": 40, "F": 100}  # distance of the first ticks; the page chooses those for its size
_EVERY_RATE: Final = {"C": 10, "F": 20}
_TICK_S: Final = 120
_SMOOTHED: Final = ("alone", "live", "both")  # whose labels there are: smoothed, live, and both rates
_CHECK_PX: Final = (6, 15)  # width and height of a trier check's tick


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
        Named sources in it: ``live``, ``ends``, ``ends of rates``, ``marks``, ``ahead``, ``checks``, ``ribbon``,
        ``guide``; named ranges: ``time``, ``temp``, ``rate``, ``tiers``. static/js/core/figure/curve-figure.js fits the
        ranges, the ticks and the labels at the ends of lines to the data and to the page's size.
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
    """Panels of the record page: like the live ones, but taller.

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
    return Drawing(_panels(key), {"live": live, "smoothed": smoothed, **overlays})


@lru_cache(maxsize=KEPT)
def _panels(key: str) -> str:
    """Panels of all batches with the same layout, with empty columns."""
    whole, lines, lanes, smoothed, temp_unit, _language = shape_of(key)
    channels = [ChannelView(**line) for line in lines]
    frame = RECORD if whole else LIVE
    live = ColumnDataSource(live_columns(channels, {}), name="live")
    smooth = ColumnDataSource({name: [] for name in smoothed}, name="smoothed")
    time = Range1d(0, 600, name="time")
    temperatures = new_panel(time, Range1d(40, 260, name="temp"), frame.temp_px, name="temperatures")
    minutes(temperatures, _TICK_S, shown=True)
    reads_in(temperatures, temp_ticks(temp_unit), f"°{temp_unit}", every=_EVERY[temp_unit])
    temperatures.extra_y_ranges["tiers"] = Range1d(0, 1, name="tiers")  # a low panel shows only its upper part
    rules(temperatures, "marks", dash="solid", ink="ink")
    rules(temperatures, "ahead", dash="dotted", ink="ink-2", band=True)
    _curves(temperatures, channels, live, smooth)
    rates = _rates(channels, live, smooth, time, frame)
    reads_in(rates, rate_ticks(temp_unit), f"°{temp_unit}/min", every=_EVERY_RATE[temp_unit])
    foot_bars(rates)
    panels = [temperatures, rates]
    if lanes:
        panels.append(lanes_panel(lanes, time, frame))
    return panels_json(panels)


def _curves(panel: Plot, channels: Sequence[ChannelView], live: ColumnDataSource, smoothed: ColumnDataSource) -> None:
    guide = ColumnDataSource({"t_s": [], "temp_c": []}, name="guide")
    thin = Line(x="t_s", y="temp_c", line_width=1.2, line_color=TOKENS["guide"], tags=[{"line_color": "guide"}])
    draw(panel, guide, thin)
    for channel in reversed(channels):
        _trace(panel, channel, channel.id, live, smoothed)
    _check_ticks(panel, ColumnDataSource(checks([]), name="checks"))
    _end_words(panel, "ends", [(channel, channel.id, channel.short) for channel in channels])


def _trace(panel: Plot, channel: ChannelView, field: str, live: ColumnDataSource, smoothed: ColumnDataSource) -> None:
    """One line; if it was smoothed, the smoothed one, and two that can replace it or be shown beside it.

    Manual readings are points, since the values between them are unknown.
    """
    if channel.by_hand:
        draw(panel, live, _points(channel, field), name=f"points {field}")
        return
    as_live = draw(panel, live, _line(channel, field))
    if f"smooth_{field}" in smoothed.data:
        as_live.name, as_live.visible = f"live {field}", False
        draw(panel, live, _line(channel, field, **_LIVE_BESIDE), name=f"both {field}", visible=False)
        draw(panel, smoothed, _line(channel, f"smooth_{field}"), name=f"smooth {field}")


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
    panel = new_panel(time, Range1d(0, 25, name="rate"), frame.rate_px, name="rates")
    minutes(panel, _TICK_S, shown=False)
    panel.min_border_top = panel.min_border_bottom = 7  # otherwise the first and the last label are cut in half
    for channel, field in reversed(fields):
        _trace(panel, channel, field, live, smoothed)
    if not smoothed.data.keys() & {f"smooth_{field}" for _, field in fields}:
        _end_words(panel, "ends of rates", [(channel, field, channel.short) for channel, field in fields])
        return panel
    for kind in _SMOOTHED:
        renderer = _end_words(panel, f"ends of {kind} rates", _labelled(fields, smoothed, kind))
        renderer.name, renderer.visible = f"{kind} ends of rates", kind == "alone"
    return panel


def _labelled(
    fields: Sequence[tuple[ChannelView, str]], smoothed: ColumnDataSource, kind: str
) -> list[tuple[ChannelView, str, str]]:
    """Channel, column and label of the rates that are drawn; if both are, the labels distinguish them."""
    found = []
    for channel, field in fields:
        smooth = f"smooth_{field}" if f"smooth_{field}" in smoothed.data else field
        if kind != "live":
            found.append((channel, smooth, channel.short))
        if kind == "live" or (kind == "both" and smooth != field):
            found.append((channel, field, channel.short if kind == "live" else f"live {channel.short}"))
    return found


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


def _check_ticks(panel: Plot, source: ColumnDataSource) -> None:
    """A tick on the curve for each trier check, in the colour of its stage, with its letter below."""
    width_px, height_px = _CHECK_PX
    tick = Rect(x="t_s", y="temp_c", width=width_px, height=height_px, width_units="screen", height_units="screen")
    tick.fill_color, tick.line_color, tick.line_width, tick.tags = "fill", TOKENS["ink"], 1.3, [{"line_color": "ink"}]
    draw(panel, source, tick)
    letter = Text(x="t_s", y="temp_c", text="shown", y_offset=height_px / 2 + 1, text_align="center", **WORDS)
    letter.text_baseline, letter.text_font_style = "top", "bold"
    letter.text_color, letter.background_fill_color = TOKENS["ink"], TOKENS["paper"]  # no curve crosses the letter
    letter.tags = [{"text_color": "ink", "background_fill_color": "paper"}]
    draw(panel, source, letter)


def _end_words(panel: Plot, name: str, lines: Sequence[tuple[ChannelView, str, str]]) -> GlyphRenderer:
    """Labels for the ends of lines, in place of a legend, from channel, column and word of each.

    The page writes the newest value behind the word, and places them.
    """
    tokens = [_look(channel)[0] for channel, _, _ in lines]
    words = [word for _, _, word in lines]
    columns = {
        "t_s": [float("nan")] * len(lines),
        "y": [float("nan")] * len(lines),
        "text": words,
        "word": words,
        "field": [field for _, field, _ in lines],
        "token": tokens,
        "color": [TOKENS[token] for token in tokens],
    }
    # With a background, so that no curve or rule crosses the labels.
    label = Text(x="t_s", y="y", text="text", x_offset=_END_PX, text_baseline="middle", text_color="color", **WORDS)
    label.text_font_style, label.background_fill_color = "bold", TOKENS["paper"]
    label.tags = [{"background_fill_color": "paper"}]
    return draw(panel, ColumnDataSource(columns, name=name), label)
