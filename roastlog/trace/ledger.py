"""Balance of a green lot: grams bought, taken and left."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import fsum


@dataclass(frozen=True)
class LotBalance:
    """Grams bought of a lot, taken by its batches, and left. The rest may be negative."""

    bought_g: float
    taken_g: float
    left_g: float

    @classmethod
    def of(cls, bought_g: float, taken_g: Iterable[float]) -> "LotBalance":
        """Balance of a lot from the grams that each of its batches took."""
        total_g = fsum(taken_g)
        return cls(bought_g=bought_g, taken_g=total_g, left_g=bought_g - total_g)

    def shortfall_g(self, want_g: float) -> float:
        """Grams missing for a batch of ``want_g``; 0 if the lot has enough."""
        return max(0.0, want_g - max(0.0, self.left_g))
