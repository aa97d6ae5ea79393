"""Columns of the overlays of a curve: moments, trier checks, the ribbon of controls.

Plain data in, plain lists out, no Bokeh: the live view sends them with each entry, and the figures start with them.
"""

from collections.abc import Iterable, Sequence
from typing import Any, Final

from roastlog.languages import numeral
from roastlog.machine.views import ControlView

Columns = dict[str, list[Any]]

# The beans' own colours, the same as --stage-* in static/app.css, and the ink that reads on each.
STAGE_FILL: Final[dict[str, str]] = {
    "green": "#8a9a63",
    "pale": "#b9b475",
    "yellow": "#d4b765",
    "tan": "#bd9350",
    "light_brown": "#96653a",
    "brown": "#6b4427",
}
_LIGHT: Final = frozenset({"green", "pale", "yellow", "tan"})
_ON_LIGHT, _ON_DARK = "#1c1713", "#ffffff"

# On a phone some 28 px stand for a minute and a letter takes about 7 px, so a letter takes about 15 s.
_SECONDS_A_LETTER: Final = 15.0
_TIERS_Y: Final = (1.0, 0.915, 0.83)  # heights of the lines of words, as shares of the panel
# Batches that are laid on each other, the guide first, in ink; the others in hues of the Okabe-Ito set, those that lie
# furthest apart first. Each has a dash of its own. Token of the colour, and the dash [px].
LINES: Final[tuple[tuple[str, tuple[int, ...]], ...]] = (
    ("ink", ()),
    ("probe", (8, 3)),
    ("surface", (2, 3)),
    ("exhaust", (10, 3, 2, 3)),
    ("inlet", (14, 4)),
    ("drum", (4, 2, 1, 2)),
)
_LEAST_FAULT_S: Final = 6.0  # what is over in a moment still has to be seen
_FAULT_NUMBERS_PX: Final = (5, 17)
_BESIDE_S: Final = 20.0  # numbers closer than this would run into each other
LANE_FILL: Final = 0.45  # how much of its lane the tallest bar takes; the setting is written above it


def marks(moments: Iterable[tuple[str, float]]) -> Columns:
    """Rules for the moments, their words on different heights where they would run into each other.

    Parameters
    ----------
    moments
        Label and time of each moment. [s from charge]

    Returns
    -------
    dict
        Columns ``t_s``, ``label`` and ``y`` (height of the words, 1 at the top), in the order of time.
    """
    columns: Columns = {"t_s": [], "label": [], "y": []}
    free_from = [float("-inf")] * len(_TIERS_Y)
    for label, time_s in sorted(moments, key=lambda moment: moment[1]):
        words = label
        tier = next((tier for tier, free_s in enumerate(free_from) if free_s <= time_s), len(_TIERS_Y) - 1)
        free_from[tier] = time_s + _SECONDS_A_LETTER * (len(words) + 1)
        columns["t_s"].append(round(time_s, 2))
        columns["label"].append(words)
        columns["y"].append(_TIERS_Y[tier])
    return columns


def coming() -> Columns:
    """Rules for moments to come, each with the band that it lies in; none yet, the live page fills them in.

    Returns
    -------
    dict
        The columns of `marks`; ``low_s``, ``high_s``, NaN where there is no band [s from charge]; and where the word
        stands: ``align``, and how far ``beside_px`` the rule.
    """
    return {**marks([]), "low_s": [], "high_s": [], "align": [], "beside_px": []}


def faults(spans: Iterable[tuple[float, float]]) -> Columns:
    """Bars on the time axis for the faults of a curve, each with its number in the list beside it.

    Parameters
    ----------
    spans
        Start and end of each, in the order of their starts. [s from charge]

    Returns
    -------
    dict
        Columns ``left``, ``right``, ``text`` and ``foot_px``: how far above the panel's foot the number stands, just
        above the bar or a line higher.
    """
    columns: Columns = {"left": [], "right": [], "text": [], "foot_px": []}
    low_px, high_px = _FAULT_NUMBERS_PX
    for number, (start_s, end_s) in enumerate(spans, start=1):
        beside = bool(columns["left"]) and start_s - columns["left"][-1] < _BESIDE_S
        columns["foot_px"].append(high_px if beside and columns["foot_px"][-1] == low_px else low_px)
        columns["left"].append(round(start_s, 1))
        columns["right"].append(round(max(end_s, start_s + _LEAST_FAULT_S), 1))
        columns["text"].append(str(number))
    return columns


def checks(trier: Iterable[tuple[str, float, float | None]]) -> Columns:
    """Dots for the trier checks, each with the letter of its stage.

    Parameters
    ----------
    trier
        Stage, time [s from charge] and bean temperature [°C] of each check. One without a temperature is left out,
        for it has no place on the curve.

    Returns
    -------
    dict
        Columns ``t_s``, ``temp_c``, ``letter``, ``stage``, ``fill`` and ``ink``.
    """
    columns: Columns = {"t_s": [], "temp_c": [], "letter": [], "stage": [], "fill": [], "ink": []}
    for stage, time_s, temp_c in trier:
        if temp_c is None:
            continue
        columns["t_s"].append(round(time_s, 2))
        columns["temp_c"].append(round(temp_c, 2))
        columns["letter"].append(stage[0].upper())
        columns["stage"].append(stage)
        columns["fill"].append(STAGE_FILL[stage])
        columns["ink"].append(_ON_LIGHT if stage in _LIGHT else _ON_DARK)
    return columns


def ribbon(
    moves: Iterable[tuple[str, float, float]],
    controls: Sequence[ControlView],
    end_s: float,
    *,
    start_s: float = 0.0,
    growing: bool = True,
) -> Columns:
    """Bars of the ribbon: one lane a control, the first one uppermost, a bar as tall as its setting.

    Parameters
    ----------
    moves
        Control, time [s from charge] and setting of each move, in any order. What was set before ``start_s`` counts
        from there on.
    controls
        The machine's controls.
    end_s, start_s
        Where the ribbon ends (now, or the drop) and begins. [s from charge]
    growing
        Whether the end moves on with the time; after the drop it stands.

    Returns
    -------
    dict
        Columns ``left``, ``right``, ``bottom``, ``top``, ``row``, ``level`` (0 to 1), ``text``, ``control``, ``last``
        (true for the bar that still grows).
    """
    names = ("left", "right", "bottom", "top", "row", "level", "text", "control", "last")
    columns: Columns = {name: [] for name in names}
    said = sorted(moves, key=lambda move: move[1])
    for row, control in enumerate(controls):
        steps = [(max(time_s, start_s), setting) for name, time_s, setting in said if name == control.id]
        low, high = control.low, control.high
        for index, (left, setting) in enumerate(steps):
            last = index + 1 == len(steps)
            right = end_s if last else min(steps[index + 1][0], end_s)
            if right <= left:
                continue
            level = min(max((setting - low) / (high - low), 0.0), 1.0)
            bottom = len(controls) - 1 - row
            text = numeral(round(setting, control.decimals))
            bar = (left, right, bottom, bottom + max(level, 0.05) * LANE_FILL, row, level, text, control.id)
            for name, value in zip(names, (*bar, last and growing), strict=True):
                columns[name].append(round(value, 3) if isinstance(value, float) else value)
    return columns
