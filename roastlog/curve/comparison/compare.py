"""Two batches held against each other: where they differ, by how much, and what stands out as the reason.

`alignment` compares the curves, `matching` the moments, phases and moves, `deviations` ranks the reasons, and `reasons`
puts a reason into words.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from roastlog.curve.comparison.alignment import Alignment, Along, Distance, along, distance, shift_s
from roastlog.curve.comparison.deviations import Reason, UsualSpread, why
from roastlog.curve.comparison.matching import (
    MomentDifference,
    MovePair,
    PhaseDifference,
    moment_differences,
    move_pairs,
    phase_differences,
    traits,
)
from roastlog.curve.roast import Roast


@dataclass(frozen=True, eq=False)
class Comparison:
    """A batch held against its guide; every difference is batch less guide.

    Attributes
    ----------
    align, shift_s
        How the curves are laid on each other, and how far the batch was moved to the left for it. [s]
    along : Along
        Differences along the curve.
    distance : Distance
        How far apart the curves lie as aligned. [°C]
    moments : sequence of MomentDifference
        Always from each one's own charge, whatever the alignment.
    phases : sequence of PhaseDifference
        Drying, browning, development, as far as both have them.
    moves : sequence of MovePair
        Side by side, control by control.
    why : sequence of Reason
        What stands out, the strongest first; empty where nothing does.
    usual : UsualSpread
        What that was judged by.
    """

    align: Alignment
    shift_s: float
    along: Along
    distance: Distance
    moments: Sequence[MomentDifference]
    phases: Sequence[PhaseDifference]
    moves: Sequence[MovePair]
    why: Sequence[Reason]
    usual: UsualSpread


def compare(batch: Roast, guide: Roast, *, align: Alignment = "charge", usual: UsualSpread | None = None) -> Comparison:
    """Hold a batch against its guide.

    Parameters
    ----------
    batch, guide
        Two roasts, a row a second.
    align
        Where they are laid on each other: at charge, yellow or first crack (shifted in time), or at equal temperature.
    usual
        What is usual between two batches of this coffee; our assumptions where it is not given.

    Returns
    -------
    Comparison
        The reasons do not depend on the alignment.

    Raises
    ------
    CurveError
        If there is no such alignment, or the moment was not marked in both.
    """
    ours, theirs, usual = traits(batch), traits(guide), usual or UsualSpread()
    return Comparison(
        align=align,
        shift_s=shift_s(batch, guide, align),
        along=along(batch, guide, align),
        distance=distance(batch, guide, align),
        moments=moment_differences(ours, theirs),
        phases=phase_differences(ours, theirs),
        moves=move_pairs(ours, theirs),
        why=why(ours, theirs, usual),
        usual=usual,
    )
