"""Why two batches differ: every difference held against what is usual between two batches of that coffee.

What is usual is learnt from the earlier batches, each held against the one and the two before it: the median size of
their differences. Few batches say little, so figures of our own count as so many pairs beside them.
"""

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np

from roastlog.curve.comparison.matching import (
    Change,
    MomentDifference,
    MovePair,
    PhaseDifference,
    Traits,
    moment_differences,
    move_pairs,
    phase_differences,
    traits,
)
from roastlog.curve.phases import phase_at
from roastlog.curve.roast import Roast

STANDS_OUT: Final = 2.7
"""How many times the usual difference one must be to stand out. Some thirty differences are looked at for each pair, so
a bound of 2 would find one in most pairs [tuned on simulated hands, seeds 300 to 319 and 9000 to 9039]."""

MOST_EARLIER: Final = 20  # older ones tell of another crop, and of another habit
_PRIOR_PAIRS = 6.0  # how many pairs our assumptions weigh as much as
_FOLLOWS_S = 15.0  # a hand that acts on first crack may be a little before the tap [our choice]
_NEIGHBOURS = (1, 2)

# Of each kind of difference, by how it is measured: what is usual before anything is known, and the least that is ever
# taken as usual, since sensors, scales and taps are no better than that. Assumptions of ours, no published figures;
# "part" is a part of the highest setting or of the guide's weight.
_ASSUMED: Final[dict[tuple[str, str], tuple[float, float]]] = {
    ("charge_temperature", "C"): (2.5, 1.0),
    ("green_weight", "part"): (0.01, 0.004),
    ("setting", "part"): (0.05, 0.02),
    ("move_time", "s"): (8.0, 4.0),
    ("move_time", "C"): (1.5, 0.7),
    ("move_time", "s after first crack"): (8.0, 4.0),
    ("move_setting", "part"): (0.05, 0.02),
    ("move_left_out", "part"): (0.05, 0.02),
    ("phase_time", "s"): (18.0, 5.0),
    ("phase_rate", "C/min"): (0.8, 0.3),
    ("moment_time", "s"): (18.0, 5.0),
    ("moment_temperature", "C"): (3.5, 1.2),
    ("moment_rate", "C/min"): (2.5, 0.8),
}
# By which quantile of the sizes the usual is told, and where a normal one has it: the median, but where most pairs
# differ not at all and some by a whole step, the median would not see what is usual now and then.
_MEDIAN: Final = 0.5, 0.6745
_QUANTILE: Final[dict[str, tuple[float, float]]] = {
    "green_weight": (0.7, 1.0364),
    "setting": (0.7, 1.0364),
    "move_setting": (0.7, 1.0364),
    "move_left_out": (0.9, 1.6449),
}

Scale = tuple[str, str, str]  # kind, subject, measure


class Difference(NamedTuple):
    """One way in which a batch differs from its guide, before it is judged.

    Attributes
    ----------
    kind, subject
        What differs: a kind of `_ASSUMED`, and the moment, phase or control (with its phase) that it is of.
    size, unit
        How much, batch less guide, as it is told.
    measured
        The same by each way of measuring that may be the hand's own; judged by the one that it keeps to best.
    cause
        Whether the hand did it; else it came of what the hand did, or of the coffee.
    pair
        The move, where it is one.
    """

    kind: str
    subject: str
    size: float
    unit: str
    measured: Mapping[str, float]
    cause: bool
    pair: MovePair | None = None


@dataclass(frozen=True)
class Reason:
    """A difference that stands out.

    Attributes
    ----------
    kind, subject
        As in `Difference`; the subject is a moment, a phase or the id of a control.
    size, unit
        Batch less guide: "C", "C/min", "s", "s after first crack", "g" or "setting".
    spreads
        How many times the usual difference between two batches it is.
    cause
        Whether the hand did it.
    batch, guide
        The moves, where it is one of those.
    """

    kind: str
    subject: str
    size: float
    unit: str
    spreads: float
    cause: bool
    batch: Change | None = None
    guide: Change | None = None


@dataclass(frozen=True)
class UsualSpread:
    """How much two batches of a coffee usually differ, by kind, subject and measure; nothing known gives our figures.

    Attributes
    ----------
    scales : dict
        Usual size of a difference, as the standard deviation of a normal one would be.
    batches : int
        How many earlier batches it rests on.
    """

    scales: Mapping[Scale, float] = field(default_factory=dict)
    batches: int = 0

    def of(self, kind: str, subject: str, measure: str) -> float:
        """The usual size of such a difference; the assumed one where it was never seen."""
        return self.scales.get((kind, subject, measure), _ASSUMED[kind, measure][0])


def usual_spread(earlier: Sequence[Roast]) -> UsualSpread:
    """What is usual between two batches of a coffee, from its earlier ones, oldest first; the newest 20 count."""
    known = [traits(roast) for roast in earlier[-MOST_EARLIER:]]
    seen: dict[Scale, list[float]] = defaultdict(list)
    for back in _NEIGHBOURS:
        for before, after in zip(known, known[back:], strict=False):
            for difference in differences(after, before):
                for measure, value in difference.measured.items():
                    seen[difference.kind, difference.subject, measure].append(abs(value))
    return UsualSpread({scale: _scale(scale, sizes) for scale, sizes in seen.items()}, len(known))


def _scale(scale: Scale, sizes: Sequence[float]) -> float:
    kind, _, measure = scale
    assumed, least = _ASSUMED[kind, measure]
    share, normal = _QUANTILE.get(kind, _MEDIAN)
    found = float(np.quantile(sizes, share)) / normal
    pairs = len(sizes) / len(_NEIGHBOURS)  # each batch is in several pairs, which are no news
    mixed = math.sqrt((_PRIOR_PAIRS * assumed**2 + pairs * found**2) / (_PRIOR_PAIRS + pairs))
    return max(mixed, least)


def why(batch: Traits, guide: Traits, usual: UsualSpread | None = None) -> list[Reason]:
    """What stands out, the strongest first; of several moves of a control the one that stands out most."""
    best: dict[tuple[str, str], Reason] = {}
    for difference in differences(batch, guide):
        reason = _judged(difference, usual or UsualSpread())
        key = (reason.kind, reason.subject)
        if reason.spreads >= STANDS_OUT and (key not in best or best[key].spreads < reason.spreads):
            best[key] = reason
    return sorted(best.values(), key=lambda reason: -reason.spreads)


def _judged(difference: Difference, usual: UsualSpread) -> Reason:
    kind, subject = difference.kind, difference.subject
    usually = {measure: usual.of(kind, subject, measure) for measure in difference.measured}
    spread_of = {measure: abs(value) / usually[measure] for measure, value in difference.measured.items()}
    # A hand keeps to the clock, to the beans or to first crack: to whichever it has kept closest, the clock where that
    # is not plain. While nothing is known of it, it is taken to have kept to whichever says least.
    loose = {name: usually[name] / _ASSUMED[kind, name][0] * (1.0 if name == "s" else 1.3) for name in usually}
    by = loose if usual.batches else spread_of
    measure = min(by, key=by.__getitem__)
    told = usual.batches and len(difference.measured) > 1  # else by the clock, which is plainest
    size, unit = (difference.measured[measure], measure) if told else (difference.size, difference.unit)
    ours, theirs = (difference.pair.batch, difference.pair.guide) if difference.pair else (None, None)
    return Reason(kind, subject.split("/")[0], size, unit, spread_of[measure], difference.cause, ours, theirs)


def differences(batch: Traits, guide: Traits) -> Iterator[Difference]:
    """All in which a batch may differ from its guide, large or small."""
    yield from _of_charge(batch, guide)
    yield from _of_moves(batch, guide)
    for moment in moment_differences(batch, guide):
        yield from _of_moment(moment)
    for phase in phase_differences(batch, guide):
        yield from _of_phase(phase)


def _of_charge(batch: Traits, guide: Traits) -> Iterator[Difference]:
    ours, theirs = batch.moments.get("charge"), guide.moments.get("charge")
    if ours and theirs and ours.temp_c is not None and theirs.temp_c is not None:
        by_c = ours.temp_c - theirs.temp_c
        yield Difference("charge_temperature", "charge", by_c, "C", {"C": by_c}, cause=True)
    if batch.green_g and guide.green_g:
        by_g = batch.green_g - guide.green_g
        yield Difference("green_weight", "charge", by_g, "g", {"part": by_g / guide.green_g}, cause=True)


def _of_moves(batch: Traits, guide: Traits) -> Iterator[Difference]:
    alone = dict.fromkeys((control for control in guide.changes if control in batch.changes), 0)
    for pair in move_pairs(batch, guide):
        control, ours, theirs = pair
        if (ours is None and _over(batch, theirs)) or (theirs is None and _over(guide, ours)):
            continue
        highest = max(abs(change.setting) for change in (*batch.changes[control], *guide.changes[control])) or 1.0
        if ours is None or theirs is None:
            alone[control] += 1
            only = ours or theirs
            assert only is not None  # noqa: S101 - a pair has a side
            size = only.setting - (only.before or 0.0)
            yield Difference("move_left_out", control, size, "setting", {"part": size / highest}, cause=True, pair=pair)
            continue
        by = ours.setting - theirs.setting
        at_charge = theirs.before is None
        kind, subject = ("setting", control) if at_charge else ("move_setting", f"{control}/{_when(theirs, guide)}")
        yield Difference(kind, subject, by, "setting", {"part": by / highest}, cause=True, pair=pair)
        if not at_charge:
            measured = _late(ours, theirs, batch, guide)
            yield Difference("move_time", subject, measured["s"], "s", measured, cause=True, pair=pair)
    for control, count in alone.items():
        if not count:  # said too, so that the usual knows how often nothing is left out
            yield Difference("move_left_out", control, 0.0, "setting", {"part": 0.0}, cause=True)


def _over(of: Traits, change: Change | None) -> bool:
    """Whether a roast had ended by then, or was about to: a move that it had no time for was not left out."""
    end_s = of.roast.moments_s.get("drop", of.roast.time_s[-1] if of.roast.time_s.size else 0.0)
    return change is not None and change.time_s >= end_s - _FOLLOWS_S


def _when(change: Change, of: Traits) -> str:
    return phase_at({"charge": 0.0, **of.roast.moments_s}, change.time_s + _FOLLOWS_S)


def _late(ours: Change, theirs: Change, batch: Traits, guide: Traits) -> dict[str, float]:
    """How much later a move was made: by the clock, by the beans, and where it follows first crack by that."""
    measured = {"s": ours.time_s - theirs.time_s}
    by_c = _temp_c(batch.roast, ours.time_s) - _temp_c(guide.roast, theirs.time_s)
    if math.isfinite(by_c):
        measured["C"] = by_c
    cracks = batch.roast.moments_s.get("first_crack"), guide.roast.moments_s.get("first_crack")
    if cracks[0] is not None and cracks[1] is not None:
        since = ours.time_s - cracks[0], theirs.time_s - cracks[1]
        if min(since) >= -_FOLLOWS_S:
            measured["s after first crack"] = since[0] - since[1]
    return measured


def _temp_c(roast: Roast, time_s: float) -> float:
    known = np.isfinite(roast.temp_c)
    return float(np.interp(time_s, roast.time_s[known], roast.temp_c[known])) if known.any() else math.nan


def _of_moment(moment: MomentDifference) -> Iterator[Difference]:
    name = moment.moment
    if name in {"charge", "first_crack_fading"}:
        return  # that of the charge is told apart, and fading is a matter of the ear
    if name != "yellow":  # when yellow came is how long drying took, which is told as that
        yield Difference("moment_time", name, moment.by_s, "s", {"s": moment.by_s}, cause=False)
    if moment.by_c is not None:
        yield Difference("moment_temperature", name, moment.by_c, "C", {"C": moment.by_c}, cause=False)
    if moment.by_c_per_min is not None and name != "turning_point":
        rate = moment.by_c_per_min
        yield Difference("moment_rate", name, rate, "C/min", {"C/min": rate}, cause=False)


def _of_phase(phase: PhaseDifference) -> Iterator[Difference]:
    # How long the development took is when the hand dropped: a cause of what is in the cooler.
    hand = phase.phase == "development"
    yield Difference("phase_time", phase.phase, phase.by_s, "s", {"s": phase.by_s}, cause=hand)
    if phase.by_c_per_min is not None:
        rate = phase.by_c_per_min
        yield Difference("phase_rate", phase.phase, rate, "C/min", {"C/min": rate}, cause=False)
