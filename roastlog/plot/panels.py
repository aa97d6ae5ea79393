"""Building blocks of all figures: panels, axes in the user's units, rules, lanes, label placement.

Colours here are those of the light theme; a glyph with a themed colour carries a tag ``{property: token}``.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from bokeh.core.properties import field, value
from bokeh.models import Axis, ColumnDataSource, FixedTicker, Glyph, GlyphRenderer, Plot, Quad, Range1d, Segment, Text
from bokeh.plotting import figure

from roastlog.plot.overlays import coming, faults, marks, ribbon
from roastlog.units import c_from_f, rate_c_from_f

# Okabe–Ito hues, darkened to a contrast of at least 3:1 on the paper; each role also has its own dash.
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
_LONGEST_MIN: Final = 60
_FOOT: Final = -99.0  # below the scale of the tiers, whose part in sight depends on the panel's height
_LEFT_PX, _RIGHT_PX = 58, 10
_FONT: Final = "system-ui, sans-serif"
TYPE: Final = "13px"
WORDS: Final = {"text_font_size": TYPE, "text_font": value(_FONT)}


@dataclass(frozen=True)
class Frame:
    """Heights of the panels. The live page divides its own height between them."""

    temp_px: int
    rate_px: int
    lane_px: int


LIVE: Final = Frame(temp_px=200, rate_px=90, lane_px=22)
RECORD: Final = Frame(temp_px=340, rate_px=150, lane_px=32)


SETTLED_S: Final = 90.0
"""Time from charge before which no rate sets the scale of its axis: the probe catches up with the beans. [s]"""


def new_panel(time: Range1d, y_range: Range1d, height_px: int, *, name: str) -> Plot:
    """An empty panel without tools, with labels in the page's font and inks."""
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
        axis.major_label_text_font_size, axis.major_label_text_font = TYPE, _FONT
        axis.major_label_text_color = TOKENS["ink-2"]
        axis.major_label_standoff, axis.major_tick_out = 2, 3
        axis.tags = [{"major_label_text_color": "ink-2"}]
    panel.grid.grid_line_color = TOKENS["grid"]
    for grid in panel.grid:
        grid.tags = [{"grid_line_color": "grid"}]
    panel.xgrid.visible = False
    return panel


def draw(panel: Plot, source: ColumnDataSource, glyph: Glyph, **how: Any) -> GlyphRenderer:  # noqa: ANN401 - properties
    """Add a glyph that looks the same selected or not: else Bokeh makes a copy of it for each state in the browser."""
    same = dict.fromkeys(("selection_glyph", "nonselection_glyph", "muted_glyph"), glyph)
    return panel.add_glyph(source, glyph, **same, **how)


def minutes(panel: Plot, every_s: int, *, shown: bool) -> None:
    """Label the time axis in minutes."""
    _tick(panel.xaxis, {60 * minute: str(minute) for minute in range(_LONGEST_MIN + 1)}, every_s // 60)
    panel.xaxis.visible = shown


def rules(panel: Plot, name: str, *, dash: str, ink: str, band: bool = False) -> None:
    """Add vertical rules with labels, placed by `roastlog.plot.overlays.marks` on the panel's ``tiers``.

    With ``band`` each has a light shade from ``low_s`` to ``high_s`` of `roastlog.plot.overlays.coming`.
    """
    source = ColumnDataSource(coming() if band else marks([]), name=name)
    if band:
        shade = Quad(
            left="low_s", right="high_s", bottom=value(_FOOT), top="y", fill_color=TOKENS["bar"], fill_alpha=0.45
        )
        shade.line_color, shade.tags = None, [{"fill_color": "bar"}]
        draw(panel, source, shade, y_range_name="tiers")
    rule = Segment(x0="t_s", x1="t_s", y0=value(_FOOT), y1="y", line_color=TOKENS[ink], line_width=1, line_dash=dash)
    rule.tags = [{"line_color": ink}]
    draw(panel, source, rule, y_range_name="tiers")
    words = Text(x="t_s", y="y", text="label", x_offset=4, text_baseline="top", text_color=TOKENS[ink], **WORDS)
    words.tags = [{"text_color": ink}]
    if band:
        words.text_align, words.x_offset = field("align"), field("beside_px")
    else:  # with a background, so that the rule of a later moment does not cross the label
        words.background_fill_color, words.tags = (
            TOKENS["paper"],
            [{"text_color": ink, "background_fill_color": "paper"}],
        )
    draw(panel, source, words, y_range_name="tiers")


def foot_bars(panel: Plot) -> None:
    """Add bars along the foot of a panel, from `roastlog.plot.overlays.faults`, with numbers in two lines."""
    panel.extra_y_ranges["foot"] = Range1d(0, panel.height)  # a scale in px
    source = ColumnDataSource(faults([]), name="faults")
    bar = Segment(x0="left", x1="right", y0=value(2), y1=value(2), line_width=4, line_color=TOKENS["ink"])
    bar.tags = [{"line_color": "ink"}]
    draw(panel, source, bar, y_range_name="foot")
    words = Text(x="left", y="foot_px", text="text", text_baseline="bottom", text_color=TOKENS["ink"], **WORDS)
    words.text_font_style, words.tags = "bold", [{"text_color": "ink"}]
    draw(panel, source, words, y_range_name="foot")


def lanes_panel(names: Sequence[str], time: Range1d, frame: Frame) -> Plot:
    """The ribbon: one lane per name, with the bars of `roastlog.plot.overlays.ribbon`."""
    lanes = len(names)
    panel = new_panel(time, Range1d(0, lanes), frame.lane_px * lanes, name="lanes")
    middles = [lanes - 1 - row + 0.5 for row in range(lanes)]
    panel.yaxis.ticker = FixedTicker(ticks=middles)
    panel.yaxis.major_label_overrides = dict(zip(middles, map(_short, names), strict=True))
    panel.ygrid.visible = panel.xaxis.visible = False
    source = ColumnDataSource(ribbon([], [], 0.0), name="ribbon")
    bar = Quad(left="left", right="right", bottom="bottom", top="top", fill_color=TOKENS["bar"])
    bar.line_color, bar.tags = TOKENS["paper"], [{"fill_color": "bar", "line_color": "paper"}]
    draw(panel, source, bar)
    edge = Segment(x0="left", x1="right", y0="top", y1="top", line_color=TOKENS["line"], line_width=1.5)
    edge.tags = [{"line_color": "line"}]  # the fill is pale; the edge has the contrast of 3:1
    draw(panel, source, edge)
    words = Text(x="left", y="top", text="shown", x_offset=3, y_offset="beside_px", text_color=TOKENS["ink"], **WORDS)
    words.tags = [{"text_color": "ink"}]
    draw(panel, source, words)
    return panel


def apart(values: Sequence[float], gap: float) -> list[float]:
    """The same values, each moved up until it is ``gap`` above the one below it. NaN stays."""
    placed, below = list(values), -np.inf
    for index in sorted((i for i, y in enumerate(values) if np.isfinite(y)), key=lambda i: values[i]):
        below = placed[index] = max(placed[index], below + gap)
    return placed


def temp_ticks(unit: str) -> dict[float, str]:
    """Positions of all ticks that a temperature axis may have [°C], with their labels."""
    if unit == "F":
        return {c_from_f(temp_f): str(temp_f).replace("-", "−") for temp_f in range(-50, 1801, 50)}
    return {temp_c: str(temp_c).replace("-", "−") for temp_c in range(-60, 1001, 10)}


def rate_ticks(unit: str) -> dict[float, str]:
    """Positions of all ticks that a rate axis may have [°C/min], with their labels."""
    if unit == "F":
        return {rate_c_from_f(rate_f): str(rate_f).replace("-", "−") for rate_f in range(-100, 121, 10)}
    return {rate_c: str(rate_c).replace("-", "−") for rate_c in range(-60, 71, 5)}


def _tick(axis: Axis, labels: Mapping[float, str], every: int) -> None:
    """Give an axis its labels, and the ticks at the multiples of ``every``; the page chooses others by its size.

    The labels are listed, since a custom formatter would need eval, which the page's policy forbids.
    """
    axis.ticker = FixedTicker(ticks=[at for at, text in labels.items() if int(text.replace("−", "-")) % every == 0])
    axis.major_label_overrides = dict(labels)


def reads_in(panel: Plot, ticks: Mapping[float, str], unit: str, *, every: int) -> None:
    """Set the ticks of the vertical axis, and write its unit in the lower right corner, which no curve reaches."""
    _tick(panel.yaxis, ticks, every)
    panel.extra_x_ranges = {"share": Range1d(0, 1)}
    panel.extra_y_ranges = {"unit": Range1d(0, 1)}
    words = Text(x=value(1), y=value(0.03), text="text", text_align="right", text_color=TOKENS["ink-2"], **WORDS)
    words.tags = [{"text_color": "ink-2"}]
    source = ColumnDataSource({"text": [unit]})
    draw(panel, source, words, x_range_name="share", y_range_name="unit")


def _short(name: str) -> str:
    """A control's name for the narrow margin: whole if it fits, else its first word, cut if too long."""
    word = name if len(name) <= 7 else name.split(maxsplit=1)[0]
    return word if len(word) <= 8 else f"{word[:7]}…"
