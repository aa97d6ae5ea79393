"""The usual band of a coffee's roast loss, and where a loss lies in it."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from statistics import median
from typing import Literal

from roastlog.languages import _

MIN_BATCHES = 5  # minimum number of earlier batches for a band
MIN_HALF_WIDTH = 0.003  # as a share: scales and green moisture vary by this much [our choice]

# Half the band in robust standard deviations (1.4826 × MAD), so that 95 of 100 batches of a steady coffee fall
# inside, by the number of earlier batches [computed: simulation of normal samples; the tests repeat it].
_WIDTHS = {5: 6.04, 6: 4.21, 7: 4.04, 8: 3.44, 9: 3.36, 10: 3.04, 12: 2.81, 15: 2.66, 20: 2.43, 30: 2.26, 50: 2.14}

Verdict = Literal["usual", "low", "high", "unknown"]


@dataclass(frozen=True)
class Band:
    """The usual band of a coffee's roast loss, as shares, and the number of batches behind it."""

    low: float
    middle: float
    high: float
    batches: int


@dataclass(frozen=True)
class LossAssessment:
    """Assessment of a loss: the verdict and its sentence."""

    verdict: Verdict
    sentence: str


def usual_band(losses: Sequence[float]) -> Band | None:
    """95 % prediction band of the loss of a steady coffee's next batch.

    The median plus and minus a multiple of the median absolute deviation, which is robust to one or two weighing
    errors. The multiple is larger with fewer batches.

    Parameters
    ----------
    losses : sequence of float
        Roast losses of earlier batches of the coffee, as shares.

    Returns
    -------
    Band or None
        None with fewer than five batches.
    """
    known = [loss for loss in losses if isfinite(loss)]
    if len(known) < MIN_BATCHES:
        return None
    middle = median(known)
    spread = 1.4826 * median(abs(loss - middle) for loss in known)
    width = _WIDTHS[max(count for count in _WIDTHS if count <= len(known))]
    half = max(width * spread, MIN_HALF_WIDTH)
    return Band(low=max(0.0, middle - half), middle=middle, high=min(1.0, middle + half), batches=len(known))


def assess_loss(loss: float, band: Band | None) -> LossAssessment:
    """Assess whether a loss is usual for its coffee, as a sentence. A hint to check, not a verdict on the batch."""
    shown = _("{loss:.1f} % loss", loss=100 * loss)
    if band is None:
        return LossAssessment(
            "unknown",
            _(
                "{shown}. Fewer than {fewest} earlier batches to compare with.",
                shown=shown,
                fewest=MIN_BATCHES,
            ),
        )
    usual = _(
        "{low:.1f} to {high:.1f} % over {batches} batches",
        low=100 * band.low,
        high=100 * band.high,
        batches=band.batches,
    )
    if loss < band.low:
        return LossAssessment(
            "low",
            _(
                "{shown} is less than usual for this coffee ({usual}). Check both weights. If they are "
                "right, the roast was lighter or the green drier than before.",
                shown=shown,
                usual=usual,
            ),
        )
    if loss > band.high:
        return LossAssessment(
            "high",
            _(
                "{shown} is more than usual for this coffee ({usual}). Check both weights, and the drum and "
                "the cooler for beans. If all is right, the roast was darker or the green wetter than before.",
                shown=shown,
                usual=usual,
            ),
        )
    return LossAssessment("usual", _("{shown}, usual for this coffee ({usual}).", shown=shown, usual=usual))
