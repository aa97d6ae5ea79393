"""Ranking of the differences between two batches, relative to the usual spread between batches of that coffee.

The usual spread is the median size of the differences between each earlier batch and the two before it, shrunk to a
prior that weighs as much as a number of pairs.
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
    RoastFeatures,
    features,
    moment_differences,
    move_pairs,
    phase_differences,
)
from roastlog.curve.phases import phase_at
from roastlog.curve.roast import Roast

OUTLIER_SPREADS: Final = 2.7
"""Outlier threshold in usual spreads. A pair has some thirty differences, so a threshold of 2 would flag most pairs
[tuned on simulated hands, seeds 300 to 319 and 9000 to 9039]."""

MOST_EARLIER: Final = 20  # older batches are of another crop and other habits
_PRIOR_PAIRS = 6.0  # weight of the prior, in pairs
_REACTION_S = 15.0  # a hand that acts on first crack may be a little before the tap [our choice]
_PAIR_LAGS = (1, 2)

# By kind of difference and measure: the prior of the usual size, and its lower bound, because sensors, scales and taps
# are no more accurate. These are our assumptions, not published figures; "part" is a share of the highest setting or of
# the guide's weight.
_PRIOR: Final[dict[tuple[str, str], tuple[float, float]]] = {
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
# Quantile of the sizes that estimates the usual size, and its value for a standard normal: the median, unless most
# pairs do not differ and a few differ by a whole step, which the median would miss.
_MEDIAN: Final = 0.5, 0.6745
_QUANTILE: Final[dict[str, tuple[float, float]]] = {
    "green_weight": (0.7, 1.0364),
    "setting": (0.7, 1.0364),
    "move_setting": (0.7, 1.0364),
    "move_left_out": (0.9, 1.6449),
}

Scale = tuple[str, str, str]  # kind, subject, measure


class Difference(NamedTuple):
    """One difference between a batch and its guide, before it is rated.

    Attributes
    ----------
    kind, subject
        A kind of `_PRIOR`, and its moment, phase or control (with its phase).
    size, unit
        Batch less guide, as displayed.
    measured
        The size by each measure that the operator may follow; rated by the one with the smallest usual spread.
    cause
        Whether it is an action of the operator; otherwise an effect of one, or of the coffee.
    pair
        The moves, if it is about a move.
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
    """A difference above the outlier threshold.

    Attributes
    ----------
    kind, subject
        As in `Difference`; the subject is a moment, a phase or the id of a control.
    size, unit
        Batch less guide: "C", "C/min", "s", "s after first crack", "g" or "setting".
    spreads
        Size in usual spreads.
    cause
        Whether it is an action of the operator.
    batch, guide
        The moves, if it is about a move.
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
    """Usual size of the differences between two batches of a coffee, by kind, subject and measure.

    Attributes
    ----------
    scales : dict
        Usual size of a difference, as the standard deviation of a normal distribution; the prior where missing.
    batches : int
        Number of earlier batches.
    """

    scales: Mapping[Scale, float] = field(default_factory=dict)
    batches: int = 0

    def of(self, kind: str, subject: str, measure: str) -> float:
        """The usual size of such a difference, or its prior."""
        return self.scales.get((kind, subject, measure), _PRIOR[kind, measure][0])


def usual_spread(earlier: Sequence[Roast]) -> UsualSpread:
    """Estimate the usual spread of a coffee from its earlier batches, oldest first; the newest 20 count."""
    known = [features(roast) for roast in earlier[-MOST_EARLIER:]]
    seen: dict[Scale, list[float]] = defaultdict(list)
    for back in _PAIR_LAGS:
        for before, after in zip(known, known[back:], strict=False):
            for difference in differences(after, before):
                for measure, value in difference.measured.items():
                    seen[difference.kind, difference.subject, measure].append(abs(value))
    return UsualSpread({scale: _scale(scale, sizes) for scale, sizes in seen.items()}, len(known))


def _scale(scale: Scale, sizes: Sequence[float]) -> float:
    kind, _, measure = scale
    assumed, least = _PRIOR[kind, measure]
    share, normal = _QUANTILE.get(kind, _MEDIAN)
    found = float(np.quantile(sizes, share)) / normal
    pairs = len(sizes) / len(_PAIR_LAGS)  # each batch is in several pairs, which are not independent
    mixed = math.sqrt((_PRIOR_PAIRS * assumed**2 + pairs * found**2) / (_PRIOR_PAIRS + pairs))
    return max(mixed, least)


def rank_deviations(batch: RoastFeatures, guide: RoastFeatures, usual: UsualSpread | None = None) -> list[Reason]:
    """The differences above the threshold, largest first; only the largest of each kind and subject."""
    best: dict[tuple[str, str], Reason] = {}
    for difference in differences(batch, guide):
        reason = _rate(difference, usual or UsualSpread())
        key = (reason.kind, reason.subject)
        if reason.spreads >= OUTLIER_SPREADS and (key not in best or best[key].spreads < reason.spreads):
            best[key] = reason
    return sorted(best.values(), key=lambda reason: -reason.spreads)


def _rate(difference: Difference, usual: UsualSpread) -> Reason:
    kind, subject = difference.kind, difference.subject
    usual_sizes = {measure: usual.of(kind, subject, measure) for measure in difference.measured}
    spread_of = {measure: abs(value) / usual_sizes[measure] for measure, value in difference.measured.items()}
    # An operator times moves by the clock, by the beans or by first crack. Use the measure with the smallest spread so
    # far, preferring the clock; without earlier batches, the measure with the smallest deviation.
    loose = {name: usual_sizes[name] / _PRIOR[kind, name][0] * (1.0 if name == "s" else 1.3) for name in usual_sizes}
    by = loose if usual.batches else spread_of
    measure = min(by, key=by.__getitem__)
    by_measure = usual.batches and len(difference.measured) > 1  # otherwise by the clock
    size, unit = (difference.measured[measure], measure) if by_measure else (difference.size, difference.unit)
    ours, theirs = (difference.pair.batch, difference.pair.guide) if difference.pair else (None, None)
    return Reason(kind, subject.split("/")[0], size, unit, spread_of[measure], difference.cause, ours, theirs)


def differences(batch: RoastFeatures, guide: RoastFeatures) -> Iterator[Difference]:
    """All differences between a batch and its guide, of any size."""
    yield from _of_charge(batch, guide)
    yield from _of_moves(batch, guide)
    for moment in moment_differences(batch, guide):
        yield from _of_moment(moment)
    for phase in phase_differences(batch, guide):
        yield from _of_phase(phase)


def _of_charge(batch: RoastFeatures, guide: RoastFeatures) -> Iterator[Difference]:
    ours, theirs = batch.moments.get("charge"), guide.moments.get("charge")
    if ours and theirs and ours.temp_c is not None and theirs.temp_c is not None:
        by_c = ours.temp_c - theirs.temp_c
        yield Difference("charge_temperature", "charge", by_c, "C", {"C": by_c}, cause=True)
    if batch.green_g and guide.green_g:
        by_g = batch.green_g - guide.green_g
        yield Difference("green_weight", "charge", by_g, "g", {"part": by_g / guide.green_g}, cause=True)


def _of_moves(batch: RoastFeatures, guide: RoastFeatures) -> Iterator[Difference]:
    alone = dict.fromkeys((control for control in guide.changes if control in batch.changes), 0)
    for pair in move_pairs(batch, guide):
        control, ours, theirs = pair
        if (ours is None and _had_ended(batch, theirs)) or (theirs is None and _had_ended(guide, ours)):
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
        kind, subject = ("setting", control) if at_charge else ("move_setting", f"{control}/{_phase_of(theirs, guide)}")
        yield Difference(kind, subject, by, "setting", {"part": by / highest}, cause=True, pair=pair)
        if not at_charge:
            measured = _move_delay(ours, theirs, batch, guide)
            yield Difference("move_time", subject, measured["s"], "s", measured, cause=True, pair=pair)
    for control, count in alone.items():
        if not count:  # counted, so that the usual spread includes pairs without an omitted move
            yield Difference("move_left_out", control, 0.0, "setting", {"part": 0.0}, cause=True)


def _had_ended(of: RoastFeatures, change: Change | None) -> bool:
    """Whether a roast ended before a move, or less than 15 s after it: such a move was not omitted."""
    end_s = of.roast.moments_s.get("drop", of.roast.time_s[-1] if of.roast.time_s.size else 0.0)
    return change is not None and change.time_s >= end_s - _REACTION_S


def _phase_of(change: Change, of: RoastFeatures) -> str:
    return phase_at({"charge": 0.0, **of.roast.moments_s}, change.time_s + _REACTION_S)


def _move_delay(ours: Change, theirs: Change, batch: RoastFeatures, guide: RoastFeatures) -> dict[str, float]:
    """Delay of a move: by the clock, by bean temperature and, if it follows first crack, by that."""
    measured = {"s": ours.time_s - theirs.time_s}
    by_c = _temp_c(batch.roast, ours.time_s) - _temp_c(guide.roast, theirs.time_s)
    if math.isfinite(by_c):
        measured["C"] = by_c
    cracks = batch.roast.moments_s.get("first_crack"), guide.roast.moments_s.get("first_crack")
    if cracks[0] is not None and cracks[1] is not None:
        since = ours.time_s - cracks[0], theirs.time_s - cracks[1]
        if min(since) >= -_REACTION_S:
            measured["s after first crack"] = since[0] - since[1]
    return measured


def _temp_c(roast: Roast, time_s: float) -> float:
    known = np.isfinite(roast.temp_c)
    return float(np.interp(time_s, roast.time_s[known], roast.temp_c[known])) if known.any() else math.nan


def _of_moment(moment: MomentDifference) -> Iterator[Difference]:
    name = moment.moment
    if name in {"charge", "first_crack_fading"}:
        return  # charge has its own differences, and fading is subjective
    if name != "yellow":  # the time of yellow is the duration of drying
        yield Difference("moment_time", name, moment.by_s, "s", {"s": moment.by_s}, cause=False)
    if moment.by_c is not None:
        yield Difference("moment_temperature", name, moment.by_c, "C", {"C": moment.by_c}, cause=False)
    if moment.by_c_per_min is not None and name != "turning_point":
        rate = moment.by_c_per_min
        yield Difference("moment_rate", name, rate, "C/min", {"C/min": rate}, cause=False)


def _of_phase(phase: PhaseDifference) -> Iterator[Difference]:
    # The operator ends development by dropping, so its duration is a cause.
    hand = phase.phase == "development"
    yield Difference("phase_time", phase.phase, phase.by_s, "s", {"s": phase.by_s}, cause=hand)
    if phase.by_c_per_min is not None:
        rate = phase.by_c_per_min
        yield Difference("phase_rate", phase.phase, rate, "C/min", {"C/min": rate}, cause=False)
