"""Comparison figure: up to six batches in stacked panels, distinguished by dash, end letter and colour.

Aligned in time: temperatures, rates, and one control's settings in a lane per batch. At equal temperature: the rates
over temperature, and the delay of each batch against the guide.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np
from bokeh.models import ColumnDataSource, FixedTicker, Line, Plot, Range1d, Scatter, Span, Text
from numpy.typing import NDArray

from roastlog import languages
from roastlog.curve.comparison.alignment import Alignment, CurveDifferences, interpolate, monotonic_rise
from roastlog.curve.roast import Roast
from roastlog.journal.vocabulary import MOMENT_WORDS
from roastlog.machine.views import ControlView
from roastlog.plot.drawing import KEPT, Columned, Drawing, key_of, panels_json, shape_of
from roastlog.plot.overlays import LINES, Columns, marks, ribbon
from roastlog.plot.panels import (
    RECORD,
    SETTLED_S,
    TOKENS,
    WORDS,
    apart,
    draw,
    lanes_panel,
    minutes,
    new_panel,
    rate_ticks,
    reads_in,
    rules,
    temp_ticks,
)

_RULED: Final = ("yellow", "first_crack")  # of the guide; its line ends at the drop
_DOTTED: Final = (*_RULED, "drop")
_LEAST_RATE, _LEAST_S = 22.0, 35.0
_EVERY: Final = {"C": 40, "F": 50}  # distance of the temperature's ticks, in the unit of the axis
_EVERY_RATE: Final = {"C": 10, "F": 20}
_END_GAP_C, _END_GAP_RATE, _END_GAP_S = 7.5, 2.2, 12.0

_Sources = dict[str, Columned]
_Ranges = dict[str, tuple[float, float]]


@dataclass(frozen=True, eq=False)
class Drawn:
    """One batch of the figure: its letter, its roast, its shift to the left [s], its differences from the guide."""

    letter: str
    roast: Roast
    shift_s: float = 0.0
    differences: CurveDifferences | None = None


def comparison_figure(
    batches: Sequence[Drawn], align: Alignment, control: ControlView | None = None, *, temp_unit: str = "C"
) -> Drawing:
    """Panels of a comparison.

    Parameters
    ----------
    batches
        The guide first.
    align
        At ``temperature`` the panels are drawn over the temperature, else over the time.
    control
        The control whose settings are drawn under the curves.
    temp_unit
        Unit of the axes, ``C`` or ``F``.

    Returns
    -------
    Drawing
        Named panels: ``temperatures``, ``rates``, ``lanes``; at equal temperature ``rates``, ``later``.
    """
    parts = _over_temperature(batches) if align == "temperature" else _over_time(batches, control)
    letters = [batch.letter for batch in batches]
    key = key_of(align == "temperature", letters, control is not None, temp_unit, languages.current())
    return Drawing(_panels(key), *parts)


@lru_cache(maxsize=KEPT)
def _panels(key: str) -> str:
    """Panels of all comparisons with the same layout, with empty columns."""
    at_temperature, letters, laned, temp_unit, _language = shape_of(key)
    if at_temperature:
        return panels_json(_temperature_panels(letters, temp_unit))
    return panels_json(_time_panels(letters, temp_unit, laned=laned))


def _time_panels(letters: Sequence[str], temp_unit: str, *, laned: bool) -> list[Plot]:
    time = Range1d(0, 600, name="time")
    temps = new_panel(time, Range1d(60, 240, name="temp"), RECORD.temp_px, name="temperatures")
    minutes(temps, 60, shown=True)
    reads_in(temps, temp_ticks(temp_unit), f"°{temp_unit}", every=_EVERY[temp_unit])
    temps.extra_y_ranges["tiers"] = Range1d(0, 1, name="tiers")
    rates = new_panel(time, Range1d(0, _LEAST_RATE, name="rate"), RECORD.rate_px, name="rates")
    minutes(rates, 60, shown=False)
    rates.min_border_top = rates.min_border_bottom = 7  # otherwise the first and the last label are cut in half
    reads_in(rates, rate_ticks(temp_unit), f"°{temp_unit}/min", every=_EVERY_RATE[temp_unit])
    rules(temps, "marks", dash="dotted", ink="ink-2")
    for number in reversed(range(len(letters))):
        _curve(temps, number)
        _curve(rates, number)
        _dots(temps, number)
    for panel in (temps, rates):
        for number in range(len(letters)):
            _letter(panel, number)
    return [temps, rates, *([lanes_panel(letters, time, RECORD)] if laned else [])]


def _over_time(batches: Sequence[Drawn], control: ControlView | None) -> tuple[_Sources, _Ranges]:
    first_s = min((-batch.shift_s for batch in batches), default=0.0)
    last_s = max((_end_s(batch) for batch in batches), default=600.0)
    highest = max((float(np.nanmax(batch.roast.temp_c, initial=0.0)) for batch in batches), default=0.0)
    top = max(240.0, highest + 10 + _END_GAP_C * len(batches))  # the letters may be stacked
    time = min(0.0, first_s), 60.0 * math.ceil((last_s + 20.0) / 60.0)
    sources: _Sources = {}
    if batches:
        marked = batches[0].roast.moments_s
        sources["marks"] = marks([(MOMENT_WORDS[name], marked[name]) for name in _RULED if name in marked])
    for number, batch in enumerate(batches):
        times = batch.roast.time_s - batch.shift_s
        sources[f"temperatures {number}"] = _line(times, batch.roast.temp_c)
        sources[f"rates {number}"] = _line(times, _settled(batch.roast))
        sources[f"dots {number}"] = _moments(batch)
    temp_ends = [_last(b.roast.time_s - b.shift_s, b.roast.temp_c) for b in batches]
    rate_ends = [_last(b.roast.time_s - b.shift_s, _settled(b.roast)) for b in batches]
    sources |= _letters("temperatures", temp_ends, batches, _END_GAP_C, time)
    sources |= _letters("rates", rate_ends, batches, _END_GAP_RATE, time)
    if control is not None:
        sources["ribbon"] = _lanes(batches, control)
    return sources, {"time": time, "temp": (60.0, top), "rate": (0.0, _most_rate(batches))}


def _temperature_panels(letters: Sequence[str], temp_unit: str) -> list[Plot]:
    temps = Range1d(80, 220, name="temp")
    rates = new_panel(temps, Range1d(0, _LEAST_RATE, name="rate"), RECORD.rate_px + 90, name="rates")
    later = new_panel(temps, Range1d(-_LEAST_S, _LEAST_S, name="behind"), RECORD.rate_px + 90, name="later")
    reads_in(rates, rate_ticks(temp_unit), f"°{temp_unit}/min", every=_EVERY_RATE[temp_unit])
    reads_in(
        later,
        {at_s: f"{at_s:+d}".replace("-", "−").replace("+0", "0") for at_s in range(-600, 601, 30)},
        "s after the guide",
        every=30,
    )
    every = _EVERY[temp_unit]
    degrees = {at: f"{text}°" for at, text in temp_ticks(temp_unit).items() if int(text.replace("−", "-")) % every == 0}
    for plot in (rates, later):
        plot.xaxis.ticker = FixedTicker(ticks=list(degrees))
        plot.xaxis.major_label_overrides = degrees
        plot.min_border_top = 7
    line = Span(location=0, dimension="width", line_width=1, line_color=TOKENS["line"], tags=[{"line_color": "line"}])
    later.add_layout(line)
    for number in range(len(letters)):
        _curve(rates, number)
        if number:  # the guide has no delay
            _curve(later, number)
    for panel in (rates, later):
        for number in range(len(letters)):
            _letter(panel, number)
    return [rates, later]


def _over_temperature(batches: Sequence[Drawn]) -> tuple[_Sources, _Ranges]:
    lowest, highest = _reach_c(batches)
    temps = lowest, highest + 0.04 * (highest - lowest)
    sources: _Sources = {}
    ends_rate, ends_later = [], []
    for number, batch in enumerate(batches):
        times, risen_c = monotonic_rise(batch.roast.time_s, batch.roast.temp_c)
        rate = interpolate(batch.roast.time_s, _settled(batch.roast), times)
        sources[f"rates {number}"] = _line(risen_c, rate)
        ends_rate.append(_last(risen_c, rate))
        if batch.differences is not None and batch.differences.by_s is not None:
            sources[f"later {number}"] = _line(batch.differences.at, batch.differences.by_s)
            ends_later.append(_last(batch.differences.at, batch.differences.by_s))
        else:
            ends_later.append((highest, 0.0) if number == 0 else (math.nan, math.nan))
    sources |= _letters("rates", ends_rate, batches, _END_GAP_RATE, temps)
    sources |= _letters("later", ends_later, batches, _END_GAP_S, temps)
    most_s = _latest_s(batches)
    return sources, {"temp": temps, "rate": (0.0, _most_rate(batches)), "behind": (-most_s, most_s)}


def _line(x: NDArray[np.float64], y: NDArray[np.float64]) -> Columned:
    return {"x": x.astype(np.float32), "y": y.astype(np.float32)}


def _curve(plot: Plot, number: int) -> None:
    token, dash = LINES[number]
    source = ColumnDataSource({"x": [], "y": []}, name=f"{plot.name} {number}")
    line = Line(x="x", y="y", line_width=2.2, line_dash=list(dash), line_join="round", line_color=TOKENS[token])
    line.tags = [{"line_color": token}]
    draw(plot, source, line)


def _dots(plot: Plot, number: int) -> None:
    """Add a dot on the curve for each of the main moments."""
    token, _ = LINES[number]
    source = ColumnDataSource({"x": [], "y": []}, name=f"dots {number}")
    dot = Scatter(x="x", y="y", size=8, fill_color=TOKENS["paper"], line_color=TOKENS[token], line_width=2)
    dot.tags = [{"fill_color": "paper", "line_color": token}]
    draw(plot, source, dot)


def _moments(batch: Drawn) -> Columned:
    """Positions of those dots."""
    at_s = np.array([time_s for name, time_s in batch.roast.moments_s.items() if name in _DOTTED], dtype=np.float64)
    return {"x": at_s - batch.shift_s, "y": interpolate(batch.roast.time_s, batch.roast.temp_c, at_s)}


def _letter(plot: Plot, number: int) -> None:
    """Add the letter of a batch above the end of its line, where no line crosses it."""
    token, _ = LINES[number]
    words = Text(x="x", y="y", text="text", x_offset=1, y_offset=-5, text_color=TOKENS[token], **WORDS)
    words.text_font_style, words.tags = "bold", [{"text_color": token}]
    source = ColumnDataSource({"x": [], "y": [], "text": []}, name=f"letter {plot.name} {number}")
    draw(plot, source, words)


def _letters(
    panel: str,
    ends: Sequence[tuple[float, float]],
    batches: Sequence[Drawn],
    gap: float,
    x_range: tuple[float, float],
) -> _Sources:
    """Letters of the batches at the ends of their lines, without overlap."""
    near = 0.03 * (x_range[1] - x_range[0])
    heights = [math.nan] * len(ends)
    groups: list[list[int]] = []
    for number in sorted((at for at, (x, _) in enumerate(ends) if math.isfinite(x)), key=lambda at: ends[at]):
        beside = bool(groups) and ends[number][0] - ends[groups[-1][-1]][0] <= near
        groups = [*groups[:-1], [*groups[-1], number]] if beside else [*groups, [number]]
    for group in groups:
        for number, height in zip(group, apart([ends[at][1] for at in group], gap), strict=True):
            heights[number] = height
    return {
        f"letter {panel} {number}": {"x": [x], "y": [y], "text": [batch.letter]}
        for number, ((x, _), y, batch) in enumerate(zip(ends, heights, batches, strict=True))
    }


def _lanes(batches: Sequence[Drawn], control: ControlView) -> Columns:
    """Bars of one control's settings, one lane per batch."""
    lanes = [replace(control, id=batch.letter) for batch in batches]
    bars: Columns = {}
    for batch in batches:
        moves = [
            (batch.letter, move.time_s - batch.shift_s, move.setting)
            for move in batch.roast.moves
            if move.control == control.id
        ]
        own = ribbon(moves, lanes, _end_s(batch), start_s=-batch.shift_s, growing=False)
        bars = {name: [*bars.get(name, []), *values] for name, values in own.items()}
    return bars


def _end_s(batch: Drawn) -> float:
    return (float(batch.roast.time_s[-1]) if batch.roast.time_s.size else 0.0) - batch.shift_s


def _settled(roast: Roast) -> NDArray[np.float64]:
    return np.where(roast.time_s >= SETTLED_S, roast.rate_c_per_min, math.nan)


def _most_rate(batches: Sequence[Drawn]) -> float:
    highest = max((float(np.nanmax(_settled(batch.roast), initial=0.0)) for batch in batches), default=0.0)
    return float(np.clip(math.ceil(highest / 5) * 5 + 2, _LEAST_RATE, 62.0))


def _last(x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[float, float]:
    """End point of a line."""
    here = np.flatnonzero(np.isfinite(y))
    return (float(x[here[-1]]), float(y[here[-1]])) if here.size else (math.nan, math.nan)


def _reach_c(batches: Sequence[Drawn]) -> tuple[float, float]:
    risen = [monotonic_rise(batch.roast.time_s, batch.roast.temp_c)[1] for batch in batches]
    known = [temps for temps in risen if temps.size]
    if not known:
        return 80.0, 220.0
    return min(float(temps[0]) for temps in known), max(float(temps[-1]) for temps in known)


def _latest_s(batches: Sequence[Drawn]) -> float:
    ways = [
        batch.differences.by_s
        for batch in batches
        if batch.differences is not None and batch.differences.by_s is not None
    ]
    furthest = max((float(np.nanmax(np.abs(way), initial=0.0)) for way in ways), default=0.0)
    return max(_LEAST_S, 1.15 * furthest)
