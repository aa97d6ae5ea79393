"""Expectation for the next batches from earlier ones: Student's predictive distribution, or a range of practice."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, inf, sqrt
from statistics import fmean, stdev

FEWEST = 3  # values that tell a spread of their own; two would have Cauchy's tails [our choice]
_PRACTICE_SHARE = 1.645  # standard deviations from the middle of nine of ten values of a normal one to their end


@dataclass(frozen=True)
class Practice:
    """Where nine of ten products lie by common practice, and the standard deviation from batch to batch of one."""

    low: float
    high: float
    spread: float


@dataclass(frozen=True)
class Expectation:
    """Distribution of a value of the next batches of a product, such as its roast loss.

    A batch is the product's true mean plus a part of its own. The standard deviation of that part is ``spread``;
    ``mean_error`` is that of the mean, which all next batches share. Both have ``degrees`` of freedom: infinite where
    ``practice`` stands in for a spread that too few batches tell. ``batches`` are those behind it.
    """

    mean: float
    spread: float
    mean_error: float
    degrees: float
    batches: int
    practice: Practice | None = None

    @classmethod
    def of(cls, values: Sequence[float], practice: Practice, *, least_spread: float) -> "Expectation":
        """Expectation from the values of earlier batches of a steady product.

        From three values on they alone decide. Fewer are a normal sample with the spread of practice, whose mean is
        within the range of practice beforehand.

        Parameters
        ----------
        values : sequence of float
            One for each earlier batch; finite.
        practice : Practice
            The range in place of a spread. Its marks of confidence are where it is written.
        least_spread : float
            No spread is thought smaller: what scales and clocks cannot tell apart.
        """
        count = len(values)
        if count >= FEWEST:
            spread = max(stdev(values), least_spread)
            return cls(fmean(values), spread, spread / sqrt(count), count - 1, count)
        whole = (practice.high - practice.low) / 2 / _PRACTICE_SHARE
        beforehand = 1 / max(whole**2 - practice.spread**2, least_spread**2)  # both weights are 1 / variance
        each = 1 / practice.spread**2
        weight = beforehand + count * each
        mean = (beforehand * (practice.low + practice.high) / 2 + each * fsum(values)) / weight
        return cls(mean, practice.spread, sqrt(1 / weight), inf, count, practice)

    def scale(self, weights: Sequence[float]) -> float:
        """Scale of the sum over next batches, each with its weight: what is each one's own, and what all share."""
        return sqrt(self.spread**2 * fsum(w * w for w in weights) + (self.mean_error * fsum(weights)) ** 2)

    def at(self, likelihood: float) -> float:
        """Number of scales above the mean that a value stays below with this likelihood, between 0 and 1."""
        from scipy.special import stdtrit  # noqa: PLC0415 - costs a third of a second, and only a plan needs it

        return float(stdtrit(self.degrees, likelihood))

    def likelihood(self, scales: float) -> float:
        """Probability that a value is less than so many scales above the mean: the inverse of `at`."""
        from scipy.special import stdtr  # noqa: PLC0415 - see above

        return float(stdtr(self.degrees, scales))

    def band(self, share: float) -> tuple[float, float]:
        """The middle ``share`` of the next batch's values."""
        half = self.at((1 + share) / 2) * self.scale([1.0])
        return self.mean - half, self.mean + half
