"""What two roasts have in common, pair by pair: moments, phases, and the moves of the hand side by side."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import NamedTuple

import numpy as np

from roastlog.curve.phases import Phase, phases, value_at
from roastlog.curve.roast import Move, Roast
from roastlog.curve.turning_point import turning_point

_ONE_HAND_S = 10.0  # taps on the same control closer than this are one move in steps [our choice]
_PAIR_WITHIN_S = 120.0  # moves of one control further apart than this are two different moves [our choice]


class At(NamedTuple):
    """A moment of a roast: when, and what the bean probe and its rate were. [s from charge], [°C], [°C/min]"""

    time_s: float
    temp_c: float | None
    rate_c_per_min: float | None


class Change(NamedTuple):
    """A move as it changed its control: when, from what, to what. At charge there is nothing before it."""

    time_s: float
    before: float | None
    setting: float


@dataclass(frozen=True)
class Traits:
    """What is told of one roast when it is compared.

    Attributes
    ----------
    moments : dict of str to At
        By name, in the order of time; the turning point among them.
    phases : dict of str to Phase
        By name.
    changes : dict of str to list of Change
        By control: the setting at charge first, then each change.
    green_g : float or None
        Mass of the charge. [g]
    roast : Roast
        Where they are from.
    """

    moments: Mapping[str, At]
    phases: Mapping[str, Phase]
    changes: Mapping[str, Sequence[Change]]
    green_g: float | None
    roast: Roast


class MomentDifference(NamedTuple):
    """A moment in both; differences are batch less guide, None where not known. [s from charge], [°C], [°C/min]"""

    moment: str
    batch: At
    guide: At
    by_s: float
    by_c: float | None
    by_c_per_min: float | None


class PhaseDifference(NamedTuple):
    """A phase in both; differences are batch less guide. [s], share 0 to 1, [°C/min]"""

    phase: str
    batch: Phase
    guide: Phase
    by_s: float
    by_share: float
    by_c_per_min: float | None


class MovePair(NamedTuple):
    """The same move in both, as far as can be told; a side is None where it was not made."""

    control: str
    batch: Change | None
    guide: Change | None


def traits(roast: Roast) -> Traits:
    """What is told of a roast: moments with their values, phases, changes of the controls."""
    times, temps, marked = roast.time_s, roast.temp_c, dict(roast.moments_s)
    turn = turning_point(times, temps)
    if turn is not None and turn.time_s < marked.get("drop", math.inf):
        marked["turning_point"] = turn.time_s
    if times.size:
        marked.setdefault("charge", 0.0)
    moments = {
        name: At(at_s, value_at(times, temps, at_s), value_at(times, roast.rate_c_per_min, at_s))
        for name, at_s in sorted(marked.items(), key=lambda item: item[1])
    }
    found = {phase.name: phase for phase in phases({"charge": 0.0, **roast.moments_s}, times, temps)}
    return Traits(moments, found, changes(roast.moves), roast.green_g, roast)


def changes(moves: Sequence[Move]) -> dict[str, list[Change]]:
    """Moves by control as changes: the setting at charge, then one for each time the hand went to it.

    What is set again to where it stands is no change, and taps within 10 s of each other are one.
    """
    found: dict[str, list[Change]] = {}
    by_control = sorted(moves, key=lambda move: (move.control, move.time_s))
    for control, made in groupby(by_control, key=lambda move: move.control):
        steps: list[Change] = []
        last_s = -math.inf
        for move in made:
            if move.time_s <= 0:
                steps = [Change(0.0, None, move.setting)]
                continue
            before = steps[-1].setting if steps else None
            if move.time_s - last_s <= _ONE_HAND_S:
                steps[-1] = steps[-1]._replace(setting=move.setting)
            elif move.setting != before:
                steps.append(Change(move.time_s, before, move.setting))
            else:
                continue
            last_s = move.time_s
        found[control] = [step for step in steps if step.setting != step.before]
    return found


def moment_differences(batch: Traits, guide: Traits) -> list[MomentDifference]:
    """Each moment that both have, in the guide's order."""
    return [
        MomentDifference(
            name,
            ours := batch.moments[name],
            theirs,
            ours.time_s - theirs.time_s,
            _less(ours.temp_c, theirs.temp_c),
            _less(ours.rate_c_per_min, theirs.rate_c_per_min),
        )
        for name, theirs in guide.moments.items()
        if name in batch.moments
    ]


def phase_differences(batch: Traits, guide: Traits) -> list[PhaseDifference]:
    """Each phase that both have, in order."""
    return [
        PhaseDifference(
            name,
            ours := batch.phases[name],
            theirs,
            ours.duration_s - theirs.duration_s,
            ours.share - theirs.share,
            _less(ours.mean_rate_c_per_min, theirs.mean_rate_c_per_min),
        )
        for name, theirs in guide.phases.items()
        if name in batch.phases
    ]


def move_pairs(batch: Traits, guide: Traits) -> list[MovePair]:
    """The moves of both side by side, control by control, in the order of their times.

    Each is laid beside the one that it is nearest to in time and in what it sets, order kept; what would have to be
    carried too far stands alone. A control that only one of the two knows is left out: that is another machine.
    """
    pairs: list[MovePair] = []
    for control, theirs in guide.changes.items():
        ours = batch.changes.get(control)
        if ours is not None:
            pairs += [MovePair(control, *pair) for pair in _matched(ours, theirs)]
    return pairs


def _matched(ours: Sequence[Change], theirs: Sequence[Change]) -> list[tuple[Change | None, Change | None]]:
    """The cheapest way to pair both in order; to leave one alone costs 1, so a pair dearer than 2 is none."""
    settings = [change.setting for change in (*ours, *theirs)]
    width = max(settings, default=0.0) - min(settings, default=0.0) or 1.0
    rows, columns = len(ours), len(theirs)
    cost = np.zeros((rows + 1, columns + 1)).tolist()
    for i in range(rows, -1, -1):
        for j in range(columns, -1, -1):
            if i == rows or j == columns:
                cost[i][j] = float(rows - i + columns - j)
                continue
            together = _apart(ours[i], theirs[j], width) + cost[i + 1][j + 1]
            cost[i][j] = min(together, 1 + cost[i + 1][j], 1 + cost[i][j + 1])
    found: list[tuple[Change | None, Change | None]] = []
    i = j = 0
    while i < rows or j < columns:
        both = i < rows and j < columns
        if both and cost[i][j] == _apart(ours[i], theirs[j], width) + cost[i + 1][j + 1]:
            found.append((ours[i], theirs[j]))
            i, j = i + 1, j + 1
        elif i < rows and (j == columns or cost[i][j] == 1 + cost[i + 1][j]):
            found.append((ours[i], None))
            i += 1
        else:
            found.append((None, theirs[j]))
            j += 1
    return found


def _apart(one: Change, other: Change, width: float) -> float:
    if (one.before is None) != (other.before is None):
        return math.inf  # the settings at charge belong together
    if one.before is None:
        return 0.0
    turned = _up(one) != _up(other)
    return abs(one.time_s - other.time_s) / _PAIR_WITHIN_S + abs(one.setting - other.setting) / width + turned


def _up(change: Change) -> bool:
    return change.before is not None and change.setting > change.before


def _less(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else one - other
