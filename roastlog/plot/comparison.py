"""Up to six batches in panels one above the other, told apart by dash, by a letter at each end, and by colour.

Laid on each other in time: temperatures, rates, and one control's settings as a lane a batch. At equal temperature: the
rates over the temperature, and how much later than the guide each batch was there.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from bokeh.embed import json_item
from bokeh.layouts import column
from bokeh.models import ColumnDataSource, FixedTicker, Line, Plot, Range1d, Scatter, Span, Text
from numpy.typing import NDArray

from roastlog.curve.comparison.alignment import Alignment, Along, column_at, rising
from roastlog.curve.roast import Roast
from roastlog.journal.vocabulary import MOMENT_WORDS
from roastlog.plot.overlays import LINES, Columns, marks, ribbon
from roastlog.plot.panels import (
    RECORD,
    TOKENS,
    WORDS,
    apart,
    lanes_panel,
    minutes,
    new_panel,
    rate_ticks,
    reads_in,
    rules,
    temp_ticks,
)

_SETTLED_S: Final = 90.0  # before it the probe is finding the beans, and its rate says nothing
_RULED: Final = ("yellow", "first_crack")  # the guide's; where it was dropped its line ends
_DOTTED: Final = (*_RULED, "drop")
_END_GAP_C, _END_GAP_RATE, _END_GAP_S = 7.5, 2.2, 12.0


@dataclass(frozen=True, eq=False)
class Drawn:
    """One batch as it is drawn: its letter, its roast, how far to the left it is moved [s], its way by the guide."""

    letter: str
    roast: Roast
    shift_s: float = 0.0
    along: Along | None = None


def comparison_figure(
    batches: Sequence[Drawn], align: Alignment, control: Mapping[str, Any] | None = None, *, temp_unit: str = "C"
) -> dict[str, Any]:
    """Panels of a comparison as a `json_item`.

    Parameters
    ----------
    batches
        The guide first.
    align
        At ``temperature`` the panels are drawn over the temperature, else over the time.
    control
        The control whose settings are drawn under the curves: ``id``, ``low``, ``high``, ``decimals``.
    temp_unit
        ``C`` or ``F``: what the axes read in.

    Returns
    -------
    dict
        Named panels in it: ``temperatures``, ``rates``, ``lanes``; at equal temperature ``rates``, ``later``.
    """
    if align == "temperature":
        panels = _over_temperature(batches, temp_unit)
    else:
        panels = _over_time(batches, control, temp_unit)
    item: dict[str, Any] = json_item(column(*panels, sizing_mode="stretch_width", spacing=0))
    return item


def _over_time(batches: Sequence[Drawn], control: Mapping[str, Any] | None, temp_unit: str) -> list[Plot]:
    first_s = min((-batch.shift_s for batch in batches), default=0.0)
    last_s = max((_end_s(batch) for batch in batches), default=600.0)
    time = Range1d(min(0.0, first_s), 60.0 * math.ceil((last_s + 20.0) / 60.0), name="time")
    highest = max((float(np.nanmax(batch.roast.temp_c, initial=0.0)) for batch in batches), default=0.0)
    top = max(240.0, highest + 10 + _END_GAP_C * len(batches))  # the letters may stand one above the other
    temps = new_panel(time, Range1d(60, top, name="temp"), RECORD.temp_px, name="temperatures")
    minutes(temps, RECORD.tick_s, shown=True)
    reads_in(temps, temp_ticks(temp_unit, RECORD), f"°{temp_unit}")
    temps.extra_y_ranges["tiers"] = Range1d(0, 1, name="tiers")
    rates = new_panel(time, Range1d(0, _most_rate(batches), name="rate"), RECORD.rate_px, name="rates")
    minutes(rates, RECORD.tick_s, shown=False)
    rates.min_border_top = rates.min_border_bottom = 7  # else the first and the last tick lose half their number
    reads_in(rates, rate_ticks(temp_unit), f"°{temp_unit}/min")
    if batches:
        marked = batches[0].roast.moments_s
        told = [(MOMENT_WORDS[name], marked[name]) for name in _RULED if name in marked]
        rules(temps, marks(told), "marks", dash="dotted", ink="ink-2")
    for number, batch in reversed(list(enumerate(batches))):
        times = batch.roast.time_s - batch.shift_s
        _curve(temps, times, batch.roast.temp_c, number)
        _curve(rates, times, _settled(batch.roast), number)
        _moments(temps, batch, number)
    _letters(temps, [_last(b.roast.time_s - b.shift_s, b.roast.temp_c) for b in batches], batches, _END_GAP_C)
    _letters(rates, [_last(b.roast.time_s - b.shift_s, _settled(b.roast)) for b in batches], batches, _END_GAP_RATE)
    return [temps, rates, *([] if control is None else [_lanes(batches, control, time)])]


def _over_temperature(batches: Sequence[Drawn], temp_unit: str) -> list[Plot]:
    lowest, highest = _reach_c(batches)
    temps = Range1d(lowest, highest + 0.04 * (highest - lowest), name="temp")
    rates = new_panel(temps, Range1d(0, _most_rate(batches), name="rate"), RECORD.rate_px + 90, name="rates")
    later = new_panel(temps, _later_range(batches), RECORD.rate_px + 90, name="later")
    reads_in(rates, rate_ticks(temp_unit), f"°{temp_unit}/min")
    reads_in(
        later,
        {at_s: f"{at_s:+d}".replace("-", "−").replace("+0", "0") for at_s in range(-600, 601, 30)},
        "s after the guide",
    )
    degrees = {at: f"{text}°" for at, text in temp_ticks(temp_unit, RECORD).items()}
    for plot in (rates, later):
        plot.xaxis.ticker = FixedTicker(ticks=list(degrees))
        plot.xaxis.major_label_overrides = degrees
        plot.min_border_top = 7
    line = Span(location=0, dimension="width", line_width=1, line_color=TOKENS["line"], tags=[{"line_color": "line"}])
    later.add_layout(line)
    ends_rate, ends_later = [], []
    for number, batch in enumerate(batches):
        times, risen_c = rising(batch.roast.time_s, batch.roast.temp_c)
        rate = column_at(batch.roast.time_s, _settled(batch.roast), times)
        _curve(rates, risen_c, rate, number)
        ends_rate.append(_last(risen_c, rate))
        if batch.along is not None and batch.along.by_s is not None:
            _curve(later, batch.along.at, batch.along.by_s, number)
            ends_later.append(_last(batch.along.at, batch.along.by_s))
        else:
            ends_later.append((highest, 0.0) if number == 0 else (math.nan, math.nan))
    _letters(rates, ends_rate, batches, _END_GAP_RATE)
    _letters(later, ends_later, batches, _END_GAP_S)
    return [rates, later]


def _curve(plot: Plot, x: NDArray[np.float64], y: NDArray[np.float64], number: int) -> None:
    token, dash = LINES[number]
    source = ColumnDataSource({"x": x.astype(np.float32), "y": y.astype(np.float32)})
    line = Line(x="x", y="y", line_width=2.2, line_dash=list(dash), line_join="round", line_color=TOKENS[token])
    line.tags = [{"line_color": token}]
    plot.add_glyph(source, line)


def _moments(plot: Plot, batch: Drawn, number: int) -> None:
    """A dot on the curve for each of the moments that tell most."""
    token, _ = LINES[number]
    at_s = np.array([time_s for name, time_s in batch.roast.moments_s.items() if name in _DOTTED], dtype=np.float64)
    temps = column_at(batch.roast.time_s, batch.roast.temp_c, at_s)
    source = ColumnDataSource({"x": at_s - batch.shift_s, "y": temps})
    dot = Scatter(x="x", y="y", size=8, fill_color=TOKENS["paper"], line_color=TOKENS[token], line_width=2)
    dot.tags = [{"fill_color": "paper", "line_color": token}]
    plot.add_glyph(source, dot)


def _letters(plot: Plot, ends: Sequence[tuple[float, float]], batches: Sequence[Drawn], gap: float) -> None:
    """The letter of each batch at the end of its line, clear of those that end beside it."""
    near = 0.03 * (plot.x_range.end - plot.x_range.start)
    heights = [math.nan] * len(ends)
    groups: list[list[int]] = []
    for number in sorted((at for at, (x, _) in enumerate(ends) if math.isfinite(x)), key=lambda at: ends[at]):
        beside = bool(groups) and ends[number][0] - ends[groups[-1][-1]][0] <= near
        groups = [*groups[:-1], [*groups[-1], number]] if beside else [*groups, [number]]
    for group in groups:
        for number, height in zip(group, apart([ends[at][1] for at in group], gap), strict=True):
            heights[number] = height
    for number, ((x, _), y, batch) in enumerate(zip(ends, heights, batches, strict=True)):
        token, _ = LINES[number]
        # Above the end, where neither its own line nor that of a longer batch runs through it.
        words = Text(x="x", y="y", text="text", x_offset=1, y_offset=-5, text_color=TOKENS[token], **WORDS)
        words.text_font_style, words.tags = "bold", [{"text_color": token}]
        plot.add_glyph(ColumnDataSource({"x": [x], "y": [y], "text": [batch.letter]}), words)


def _lanes(batches: Sequence[Drawn], control: Mapping[str, Any], time: Range1d) -> Plot:
    """What one control was set to, a lane a batch."""
    lanes = [{**control, "id": batch.letter, "name": batch.letter} for batch in batches]
    bars: Columns = {}
    for batch in batches:
        moves = [
            (batch.letter, move.time_s - batch.shift_s, move.setting)
            for move in batch.roast.moves
            if move.control == control["id"]
        ]
        own = ribbon(moves, lanes, _end_s(batch), start_s=-batch.shift_s, growing=False)
        bars = {name: [*bars.get(name, []), *values] for name, values in own.items()}
    return lanes_panel(lanes, bars, time, RECORD)


def _end_s(batch: Drawn) -> float:
    return (float(batch.roast.time_s[-1]) if batch.roast.time_s.size else 0.0) - batch.shift_s


def _settled(roast: Roast) -> NDArray[np.float64]:
    return np.where(roast.time_s >= _SETTLED_S, roast.rate_c_per_min, math.nan)


def _most_rate(batches: Sequence[Drawn]) -> float:
    highest = max((float(np.nanmax(_settled(batch.roast), initial=0.0)) for batch in batches), default=0.0)
    return float(np.clip(math.ceil(highest / 5) * 5 + 2, 22.0, 62.0))


def _last(x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[float, float]:
    """Where a line ends."""
    here = np.flatnonzero(np.isfinite(y))
    return (float(x[here[-1]]), float(y[here[-1]])) if here.size else (math.nan, math.nan)


def _reach_c(batches: Sequence[Drawn]) -> tuple[float, float]:
    risen = [rising(batch.roast.time_s, batch.roast.temp_c)[1] for batch in batches]
    known = [temps for temps in risen if temps.size]
    if not known:
        return 80.0, 220.0
    return min(float(temps[0]) for temps in known), max(float(temps[-1]) for temps in known)


def _later_range(batches: Sequence[Drawn]) -> Range1d:
    ways = [batch.along.by_s for batch in batches if batch.along is not None and batch.along.by_s is not None]
    furthest = max((float(np.nanmax(np.abs(way), initial=0.0)) for way in ways), default=0.0)
    reach = max(35.0, 1.15 * furthest)
    return Range1d(-reach, reach, name="behind")
