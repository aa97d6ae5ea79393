"""A coffee's roast loss: its usual band, where a loss lies in it, and what to expect of the next batches."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from statistics import median
from typing import Final, Literal

from roastlog.languages import _
from roastlog.quality.expectation import Expectation, Practice

MIN_BATCHES = 5  # minimum number of earlier batches for a band
MIN_HALF_WIDTH = 0.003  # as a share: scales and green moisture vary by this much [our choice]

# Half the band in robust standard deviations (1.4826 × MAD), so that 95 of 100 batches of a steady coffee fall
# inside, by the number of earlier batches [computed: simulation of normal samples; the tests repeat it].
_WIDTHS = {5: 6.04, 6: 4.21, 7: 4.04, 8: 3.44, 9: 3.36, 10: 3.04, 12: 2.81, 15: 2.66, 20: 2.43, 30: 2.26, 50: 2.14}

MOST_LOSS = 0.4  # as a share; no coffee loses more [our choice: beyond the 25 % of a very dark roast, by far]
LEAST_SPREAD = MIN_HALF_WIDTH / 2  # standard deviation from batch to batch; the half-width is two of them
_GROSS, _GROSS_LEAST = 2, 0.03  # half-widths of the usual band, and share: further off is a weighing error [our choice]

Verdict = Literal["usual", "low", "high", "unknown"]
Degree = Literal["light", "medium", "dark", "very_dark"]

# Loss by degree of roast [memory: practice]; the spread from batch to batch of one product [memory: practice].
_SPREAD = 0.008
PRACTICE: Final[dict[Degree, Practice]] = {
    "light": Practice(0.11, 0.14, _SPREAD),
    "medium": Practice(0.14, 0.17, _SPREAD),
    "dark": Practice(0.17, 0.22, _SPREAD),
    "very_dark": Practice(0.22, 0.25, _SPREAD),
}
PRACTICE_ANY: Final = Practice(PRACTICE["light"].low, PRACTICE["dark"].high, _SPREAD)  # the degree is not known


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


def expected_loss(losses: Sequence[float], degree: Degree | None = None) -> Expectation:
    """Roast loss to expect of a product's next batches.

    Losses far outside of the usual band are left out as weighing errors; ``batches`` counts the others.

    Parameters
    ----------
    losses : sequence of float
        Roast losses of earlier batches of the product, as shares of the green from 0 to 0.4.
    degree : str or None
        Degree of roast, for the range of practice while there are fewer than three batches.
    """
    band = usual_band(losses)
    if band is not None:
        reach = max(_GROSS * (band.high - band.middle), _GROSS_LEAST)
        losses = [loss for loss in losses if abs(loss - band.middle) <= reach]
    practice = PRACTICE_ANY if degree is None else PRACTICE[degree]
    return Expectation.of(losses, practice, least_spread=LEAST_SPREAD)


def degree_of(loss: float) -> Degree:
    """Degree of roast that a mean loss, as a share, speaks for: by the ranges of practice."""
    return next((degree for degree, usual in PRACTICE.items() if loss < usual.high), "very_dark")


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
