"""Data columns of a curve's overlays: moments, trier checks, faults, the ribbon of controls.

Plain lists without Bokeh: the live view sends them with each entry, and figures contain them from the start.
"""

from collections.abc import Iterable, Sequence
from typing import Any, Final

from roastlog.journal.vocabulary import STAGE_LETTERS
from roastlog.languages import numeral, translate
from roastlog.machine.views import ControlView

Columns = dict[str, list[Any]]

# Colours of the beans, as --stage-* in static/app.css.
STAGE_FILL: Final[dict[str, str]] = {
    "green": "#8a9a63",
    "pale": "#b9b475",
    "yellow": "#d4b765",
    "tan": "#bd9350",
    "light_brown": "#96653a",
    "brown": "#6b4427",
    "dark_brown": "#49302a",
    "almost_black": "#2f2622",
}

# On a phone a minute takes about 28 px and a letter about 7 px, so a letter takes about 15 s.
_SECONDS_A_LETTER: Final = 15.0
_TIERS_Y: Final = (1.0, 0.915, 0.83)  # heights of the lines of labels, as shares of the panel
# Lines of compared batches: colour token and dash [px]. The guide is first, in ink; the others have hues of the
# Okabe-Ito set, the most distinct first. Each has a different dash.
LINES: Final[tuple[tuple[str, tuple[int, ...]], ...]] = (
    ("ink", ()),
    ("probe", (8, 3)),
    ("surface", (2, 3)),
    ("exhaust", (10, 3, 2, 3)),
    ("inlet", (14, 4)),
    ("drum", (4, 2, 1, 2)),
)
_LEAST_FAULT_S: Final = 6.0  # a shorter fault must still be visible
_FAULT_NUMBERS_PX: Final = (5, 17)
_BESIDE_S: Final = 20.0  # numbers closer than this would overlap
LANE_FILL: Final = 0.88  # share of the lane that the tallest bar fills
_ABOVE_PX, _INSIDE_PX = -1, 11  # from a bar's top to the foot of its setting: above a low bar, else inside it


def marks(moments: Iterable[tuple[str, float]]) -> Columns:
    """Rules for the moments, with labels at different heights where they would overlap.

    Parameters
    ----------
    moments
        Label and time of each moment. [s from charge]

    Returns
    -------
    dict
        Columns ``t_s``, ``label`` and ``y`` (height of the label, 1 at the top), ordered by time.
    """
    columns: Columns = {"t_s": [], "label": [], "y": []}
    free_from = [float("-inf")] * len(_TIERS_Y)
    for label, time_s in sorted(moments, key=lambda moment: moment[1]):
        tier = next((tier for tier, free_s in enumerate(free_from) if free_s <= time_s), len(_TIERS_Y) - 1)
        free_from[tier] = time_s + _SECONDS_A_LETTER * (len(label) + 1)
        columns["t_s"].append(round(time_s, 2))
        columns["label"].append(label)
        columns["y"].append(_TIERS_Y[tier])
    return columns


def coming() -> Columns:
    """Empty columns for the rules of expected moments with their bands; the live page fills them.

    Returns
    -------
    dict
        The columns of `marks`; the band ``low_s``, ``high_s``, NaN if there is none [s from charge]; and the position
        of the label: ``align``, and its distance from the rule ``beside_px``.
    """
    return {**marks([]), "low_s": [], "high_s": [], "align": [], "beside_px": []}


def faults(spans: Iterable[tuple[float, float]]) -> Columns:
    """Bars on the time axis for the faults of a curve, each with its number in the list of faults.

    Parameters
    ----------
    spans
        Start and end of each fault, ordered by start. [s from charge]

    Returns
    -------
    dict
        Columns ``left``, ``right``, ``text`` and ``foot_px``, the height of the number above the panel's foot: just
        above the bar, or one line higher.
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
        Stage, time [s from charge] and bean temperature [°C] of each check. A check without a temperature is omitted,
        since it has no position on the curve.

    Returns
    -------
    dict
        Columns ``t_s``, ``temp_c``, ``letter``, ``stage``, ``fill``, and ``shown`` (the letter; the page empties it
        where it would overprint the one before).
    """
    columns: Columns = {"t_s": [], "temp_c": [], "letter": [], "stage": [], "fill": [], "shown": []}
    for stage, time_s, temp_c in trier:
        if temp_c is None:
            continue
        columns["t_s"].append(round(time_s, 2))
        columns["temp_c"].append(round(temp_c, 2))
        columns["letter"].append(translate(STAGE_LETTERS[stage]))
        columns["stage"].append(stage)
        columns["fill"].append(STAGE_FILL[stage])
        columns["shown"].append(columns["letter"][-1])
    return columns


def ribbon(
    moves: Iterable[tuple[str, float, float]],
    controls: Sequence[ControlView],
    end_s: float,
    *,
    start_s: float = 0.0,
    growing: bool = True,
) -> Columns:
    """Bars of the ribbon: one lane per control, the first uppermost; the height of a bar is its setting.

    Parameters
    ----------
    moves
        Control, time [s from charge] and setting of each move, in any order. Settings from before ``start_s`` apply
        from there on.
    controls
        The machine's controls.
    end_s, start_s
        End (now, or the drop) and start of the ribbon. [s from charge]
    growing
        Whether the end moves with time; after the drop it is fixed.

    Returns
    -------
    dict
        Columns ``left``, ``right``, ``bottom``, ``top``, ``row``, ``level`` (0 to 1), ``text``, ``control``, ``last``
        (true for the growing bar), ``beside_px`` (from the bar's top to the foot of its text), ``shown``
        (the text; the page empties it where it would overprint the next).
    """
    names = ("left", "right", "bottom", "top", "row", "level", "text", "control", "beside_px", "shown", "last")
    columns: Columns = {name: [] for name in names}
    ordered = sorted(moves, key=lambda move: move[1])
    for row, control in enumerate(controls):
        steps = [(max(time_s, start_s), setting) for name, time_s, setting in ordered if name == control.id]
        low, high = control.low, control.high
        for index, (left, setting) in enumerate(steps):
            last = index + 1 == len(steps)
            right = end_s if last else min(steps[index + 1][0], end_s)
            if right <= left:
                continue
            level = min(max((setting - low) / (high - low), 0.0), 1.0)
            bottom = len(controls) - 1 - row
            text = numeral(round(setting, control.decimals))
            beside_px = _ABOVE_PX if level * LANE_FILL < 0.5 else _INSIDE_PX
            bar = (left, right, bottom, bottom + level * LANE_FILL, row, level, text, control.id, beside_px, text)
            for name, value in zip(names, (*bar, last and growing), strict=True):
                columns[name].append(round(value, 3) if isinstance(value, float) else value)
    return columns
