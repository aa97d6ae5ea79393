"""The books of a green lot: grams bought, taken and left."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import fsum


@dataclass(frozen=True)
class LotBalance:
    """What was bought of a lot, what its batches took, and what is left. A negative rest is shown, not hidden."""

    bought_g: float
    taken_g: float
    left_g: float

    @classmethod
    def of(cls, bought_g: float, taken_g: Iterable[float]) -> "LotBalance":
        """Balance of a lot from what each of its batches took."""
        total_g = fsum(taken_g)
        return cls(bought_g=bought_g, taken_g=total_g, left_g=bought_g - total_g)

    def shortfall_g(self, want_g: float) -> float:
        """Grams missing for a batch that wants ``want_g``; 0 where the lot has enough."""
        return max(0.0, want_g - max(0.0, self.left_g))


def left_g(bought_g: float, taken_g: Iterable[float]) -> float:
    """Grams left of a lot; below zero where more was taken than the books say was bought."""
    return LotBalance.of(bought_g, taken_g).left_g
