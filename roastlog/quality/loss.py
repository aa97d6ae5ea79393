"""Roast loss, and the band that is usual for a coffee."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from statistics import median
from typing import Literal

from roastlog.errors import SettingError
from roastlog.languages import _

FEWEST = 5  # earlier batches; fewer say nothing about what is usual
NARROWEST = 0.003  # half a band, as a share: scales and green moisture differ by this much [choice of ours]

# Half the band in robust standard deviations (1.4826 × MAD), so that 95 of 100 batches of a steady coffee fall
# inside, by the number of earlier batches [computed: simulation of normal samples; the tests repeat it].
_WIDTHS = {5: 6.04, 6: 4.21, 7: 4.04, 8: 3.44, 9: 3.36, 10: 3.04, 12: 2.81, 15: 2.66, 20: 2.43, 30: 2.26, 50: 2.14}

Verdict = Literal["usual", "low", "high", "unknown"]


@dataclass(frozen=True)
class Band:
    """The usual band of a coffee's roast loss, as shares, and how many batches it rests on."""

    low: float
    middle: float
    high: float
    batches: int


@dataclass(frozen=True)
class Judgement:
    """A verdict on a loss, and the sentence that a roaster reads."""

    verdict: Verdict
    sentence: str


def roast_loss(green_g: float, roasted_g: float) -> float:
    """Share of the green mass that was lost in the roast: 5000 g to 4260 g is 0.148.

    Raises
    ------
    SettingError
        If a mass is not above zero, or more came out than went in.
    """
    if not (isfinite(green_g) and green_g > 0):
        raise SettingError(_("The green weight must be above zero."))
    if not (isfinite(roasted_g) and roasted_g > 0):
        raise SettingError(_("The roasted weight must be above zero: a loss of 100 % or more cannot be."))
    if roasted_g > green_g:
        raise SettingError(
            _(
                "{roasted:.0f} g roasted is more than the {green:.0f} g of green that went in. Check both weights.",
                roasted=roasted_g,
                green=green_g,
            )
        )
    return 1.0 - roasted_g / green_g


def organic_loss(green_g: float, roasted_g: float, green_moisture: float, roasted_moisture: float) -> float:
    """Share of the dry matter that was lost; moistures are shares of the mass as weighed (0.11 is 11 %).

    Negative where the moistures and weights do not fit together: that is shown, since it tells of a meter
    or a scale to look at.

    Raises
    ------
    SettingError
        If a mass is out of order, or a moisture is not within 0 to 1.
    """
    roast_loss(green_g, roasted_g)  # refuses the masses that cannot be
    for name, moisture in (("green", green_moisture), ("roasted", roasted_moisture)):
        if not 0 <= moisture < 1:
            raise SettingError(_("The {name} moisture must be a share from 0 to below 1.", name=name))
    return 1.0 - roasted_g * (1.0 - roasted_moisture) / (green_g * (1.0 - green_moisture))


def usual_band(losses: Sequence[float]) -> Band | None:
    """Band in which the loss of the next batch of a steady coffee falls 95 times in 100.

    The median plus and minus a multiple of the median absolute deviation: one slip of the scale, or two,
    do not widen it. The multiple grows as batches get fewer, since then less is known.

    Parameters
    ----------
    losses : sequence of float
        Roast losses of earlier batches of the coffee, as shares.

    Returns
    -------
    Band or None
        None below five batches.
    """
    known = [loss for loss in losses if isfinite(loss)]
    if len(known) < FEWEST:
        return None
    middle = median(known)
    spread = 1.4826 * median(abs(loss - middle) for loss in known)
    width = _WIDTHS[max(count for count in _WIDTHS if count <= len(known))]
    half = max(width * spread, NARROWEST)
    return Band(low=max(0.0, middle - half), middle=middle, high=min(1.0, middle + half), batches=len(known))


def judge(loss: float, band: Band | None) -> Judgement:
    """Whether a loss is usual for its coffee, said in a sentence. A hint to look, not a verdict on the batch."""
    shown = _("{loss:.1f} % loss", loss=100 * loss)
    if band is None:
        return Judgement(
            "unknown",
            _("{shown}. There are fewer than {fewest} earlier batches to hold it against.", shown=shown, fewest=FEWEST),
        )
    usual = _(
        "{low:.1f} to {high:.1f} % over {batches} batches",
        low=100 * band.low,
        high=100 * band.high,
        batches=band.batches,
    )
    if loss < band.low:
        return Judgement(
            "low",
            _(
                "{shown} is less than usual for this coffee ({usual}). Check both weights; if they are right, "
                "the roast was lighter or the green drier than before.",
                shown=shown,
                usual=usual,
            ),
        )
    if loss > band.high:
        return Judgement(
            "high",
            _(
                "{shown} is more than usual for this coffee ({usual}). Check both weights, and for beans left in "
                "the drum or the cooler; if all is right, the roast was darker or the green wetter than before.",
                shown=shown,
                usual=usual,
            ),
        )
    return Judgement("usual", _("{shown}, usual for this coffee ({usual}).", shown=shown, usual=usual))
