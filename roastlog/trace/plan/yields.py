"""Green from roasted: how likely a product's charges suffice, and the green that suffices with a chosen likelihood.

The loss of a batch is that of `Expectation`: what is each batch's own averages out over several batches, the
uncertainty of the product's mean does not. So the sum of batches is Student's, with the mean's degrees of freedom.
"""

from collections.abc import Sequence
from math import ceil, floor

from roastlog.quality.expectation import Expectation
from roastlog.quality.loss import MOST_LOSS


def likely_yield(loss: Expectation, weights: Sequence[float], likelihood: float) -> float:
    """Roasted share of the green that is reached with a likelihood, over batches with these weights in the sum.

    At least 0.6: no coffee loses more than 0.4, whatever few batches leave open. At most 1.
    """
    scale = loss.scale(weights) / sum(weights)
    return min(max(1 - loss.mean - loss.at(likelihood) * scale, 1 - MOST_LOSS), 1.0)


def roasted_with(loss: Expectation, charges_g: Sequence[int], likelihood: float) -> int:
    """Roasted grams that these charges give with a likelihood. [g]"""
    green_g = sum(charges_g)
    return floor(green_g * likely_yield(loss, charges_g, likelihood)) if green_g else 0


def green_with(loss: Expectation, roasted_g: int, weights: Sequence[float], likelihood: float) -> int:
    """Green grams that suffice for roasted ones with a likelihood, over batches with these weights. [g]"""
    return ceil(roasted_g / likely_yield(loss, weights, likelihood))


def likelihood_of(loss: Expectation, charges_g: Sequence[int], roasted_g: int) -> float:
    """Probability that these charges give at least so many roasted grams, from 0 to 1."""
    green_g = sum(charges_g)
    if roasted_g <= green_g * (1 - MOST_LOSS):
        return 1.0
    if roasted_g > green_g:
        return 0.0
    return loss.likelihood((green_g * (1 - loss.mean) - roasted_g) / loss.scale(charges_g))
