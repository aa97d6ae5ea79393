"""Matching of two roasts: their moments, phases and moves in pairs."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import NamedTuple

import numpy as np

from roastlog.curve.phases import Phase, phases, value_at
from roastlog.curve.roast import Move, Roast
from roastlog.curve.turning_point import turning_point

_MERGE_S = 10.0  # taps on one control closer than this are one move [our choice]
_PAIR_WITHIN_S = 120.0  # moves of one control further apart than this are two different moves [our choice]


class MomentValues(NamedTuple):
    """Time, bean probe temperature and rate at a moment. [s from charge], [°C], [°C/min]"""

    time_s: float
    temp_c: float | None
    rate_c_per_min: float | None


class Change(NamedTuple):
    """A move as a change of its control: time, old and new setting. At charge there is no old setting."""

    time_s: float
    before: float | None
    setting: float


@dataclass(frozen=True)
class RoastFeatures:
    """Features of one roast that are compared.

    Attributes
    ----------
    moments : dict of str to MomentValues
        By name, in time order, including the turning point.
    phases : dict of str to Phase
        By name.
    changes : dict of str to list of Change
        By control: the setting at charge first, then each change.
    green_g : float or None
        Mass of the charge. [g]
    roast : Roast
        Their source.
    """

    moments: Mapping[str, MomentValues]
    phases: Mapping[str, Phase]
    changes: Mapping[str, Sequence[Change]]
    green_g: float | None
    roast: Roast


class MomentDifference(NamedTuple):
    """A moment of both; differences are batch less guide, None if unknown. [s from charge], [°C], [°C/min]"""

    moment: str
    batch: MomentValues
    guide: MomentValues
    by_s: float
    by_c: float | None
    by_c_per_min: float | None


class PhaseDifference(NamedTuple):
    """A phase of both; differences are batch less guide. [s], share 0 to 1, [°C/min]"""

    phase: str
    batch: Phase
    guide: Phase
    by_s: float
    by_share: float
    by_c_per_min: float | None


class MovePair(NamedTuple):
    """Matched moves; a side is None if the move was not made."""

    control: str
    batch: Change | None
    guide: Change | None


def features(roast: Roast) -> RoastFeatures:
    """Features of a roast: moments with their values, phases, changes of the controls."""
    times, temps, marked = roast.time_s, roast.temp_c, dict(roast.moments_s)
    turn = turning_point(times, temps)
    if turn is not None and turn.time_s < marked.get("drop", math.inf):
        marked["turning_point"] = turn.time_s
    if times.size:
        marked.setdefault("charge", 0.0)
    moments = {
        name: MomentValues(at_s, value_at(times, temps, at_s), value_at(times, roast.rate_c_per_min, at_s))
        for name, at_s in sorted(marked.items(), key=lambda item: item[1])
    }
    found = {phase.name: phase for phase in phases({"charge": 0.0, **roast.moments_s}, times, temps)}
    return RoastFeatures(moments, found, changes(roast.moves), roast.green_g, roast)


def changes(moves: Sequence[Move]) -> dict[str, list[Change]]:
    """Moves by control as changes: the setting at charge, then one per adjustment.

    Repeating the current setting is no change, and taps within 10 s of each other are one.
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
            if move.time_s - last_s <= _MERGE_S:
                steps[-1] = steps[-1]._replace(setting=move.setting)
            elif move.setting != before:
                steps.append(Change(move.time_s, before, move.setting))
            else:
                continue
            last_s = move.time_s
        found[control] = [step for step in steps if step.setting != step.before]
    return found


def moment_differences(batch: RoastFeatures, guide: RoastFeatures) -> list[MomentDifference]:
    """Each moment that both have, in the guide's order."""
    return [
        MomentDifference(
            name,
            ours := batch.moments[name],
            theirs,
            ours.time_s - theirs.time_s,
            _minus(ours.temp_c, theirs.temp_c),
            _minus(ours.rate_c_per_min, theirs.rate_c_per_min),
        )
        for name, theirs in guide.moments.items()
        if name in batch.moments
    ]


def phase_differences(batch: RoastFeatures, guide: RoastFeatures) -> list[PhaseDifference]:
    """Each phase that both have, in order."""
    return [
        PhaseDifference(
            name,
            ours := batch.phases[name],
            theirs,
            ours.duration_s - theirs.duration_s,
            ours.share - theirs.share,
            _minus(ours.mean_rate_c_per_min, theirs.mean_rate_c_per_min),
        )
        for name, theirs in guide.phases.items()
        if name in batch.phases
    ]


def move_pairs(batch: RoastFeatures, guide: RoastFeatures) -> list[MovePair]:
    """Pair the moves of both, control by control, in time order.

    The alignment preserves order and minimises the distance in time and setting; a move without a close counterpart
    stays single. Controls of only one roast are skipped: it is of another machine.
    """
    pairs: list[MovePair] = []
    for control, theirs in guide.changes.items():
        ours = batch.changes.get(control)
        if ours is not None:
            pairs += [MovePair(control, *pair) for pair in _align_moves(ours, theirs)]
    return pairs


def _align_moves(ours: Sequence[Change], theirs: Sequence[Change]) -> list[tuple[Change | None, Change | None]]:
    """Cheapest pairing in order; a single move costs 1, so a pair that costs more than 2 is never made."""
    settings = [change.setting for change in (*ours, *theirs)]
    width = max(settings, default=0.0) - min(settings, default=0.0) or 1.0
    rows, columns = len(ours), len(theirs)
    cost = np.zeros((rows + 1, columns + 1)).tolist()
    for i in range(rows, -1, -1):
        for j in range(columns, -1, -1):
            if i == rows or j == columns:
                cost[i][j] = float(rows - i + columns - j)
                continue
            together = _pair_cost(ours[i], theirs[j], width) + cost[i + 1][j + 1]
            cost[i][j] = min(together, 1 + cost[i + 1][j], 1 + cost[i][j + 1])
    found: list[tuple[Change | None, Change | None]] = []
    i = j = 0
    while i < rows or j < columns:
        both = i < rows and j < columns
        if both and cost[i][j] == _pair_cost(ours[i], theirs[j], width) + cost[i + 1][j + 1]:
            found.append((ours[i], theirs[j]))
            i, j = i + 1, j + 1
        elif i < rows and (j == columns or cost[i][j] == 1 + cost[i + 1][j]):
            found.append((ours[i], None))
            i += 1
        else:
            found.append((None, theirs[j]))
            j += 1
    return found


def _pair_cost(one: Change, other: Change, width: float) -> float:
    if (one.before is None) != (other.before is None):
        return math.inf  # settings at charge only match each other
    if one.before is None:
        return 0.0
    turned = _raises(one) != _raises(other)
    return abs(one.time_s - other.time_s) / _PAIR_WITHIN_S + abs(one.setting - other.setting) / width + turned


def _raises(change: Change) -> bool:
    return change.before is not None and change.setting > change.before


def _minus(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else one - other
