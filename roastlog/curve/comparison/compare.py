"""Comparison of a batch with its guide: the differences, and the likely reasons.

`alignment` compares the curves, `matching` the moments, phases and moves, `deviations` ranks the reasons, and `reasons`
describes them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from roastlog.curve.comparison.alignment import (
    Alignment,
    CurveDifferences,
    Distance,
    differences_along,
    distance,
    shift_s,
)
from roastlog.curve.comparison.deviations import Reason, UsualSpread, rank_deviations
from roastlog.curve.comparison.matching import (
    MomentDifference,
    MovePair,
    PhaseDifference,
    features,
    moment_differences,
    move_pairs,
    phase_differences,
)
from roastlog.curve.roast import Roast


@dataclass(frozen=True, eq=False)
class Comparison:
    """Result of comparing a batch with its guide; every difference is batch less guide.

    Attributes
    ----------
    align, shift_s
        Alignment of the curves, and the shift of the batch to the left for it. [s]
    differences : CurveDifferences
        Differences along the curve.
    distance : Distance
        Distance between the aligned curves. [°C]
    moments : sequence of MomentDifference
        Times from each one's own charge, for every alignment.
    phases : sequence of PhaseDifference
        Drying, browning, development, where both have them.
    moves : sequence of MovePair
        Side by side, control by control.
    reasons : sequence of Reason
        Differences above the threshold, largest first.
    usual : UsualSpread
        The spread that they are relative to.
    """

    align: Alignment
    shift_s: float
    differences: CurveDifferences
    distance: Distance
    moments: Sequence[MomentDifference]
    phases: Sequence[PhaseDifference]
    moves: Sequence[MovePair]
    reasons: Sequence[Reason]
    usual: UsualSpread


def compare(batch: Roast, guide: Roast, *, align: Alignment = "charge", usual: UsualSpread | None = None) -> Comparison:
    """Compare a batch with its guide.

    Parameters
    ----------
    batch, guide
        Two roasts, one row a second.
    align
        Alignment: at charge, yellow or first crack (shifted in time), or at equal temperature.
    usual
        Usual spread between two batches of this coffee; the prior by default.

    Returns
    -------
    Comparison
        The reasons do not depend on the alignment.

    Raises
    ------
    CurveError
        If the alignment is unknown, or the moment is not marked in both.
    """
    ours, theirs, usual = features(batch), features(guide), usual or UsualSpread()
    return Comparison(
        align=align,
        shift_s=shift_s(batch, guide, align),
        differences=differences_along(batch, guide, align),
        distance=distance(batch, guide, align),
        moments=moment_differences(ours, theirs),
        phases=phase_differences(ours, theirs),
        moves=move_pairs(ours, theirs),
        reasons=rank_deviations(ours, theirs, usual),
        usual=usual,
    )
