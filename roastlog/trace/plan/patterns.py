"""Patterns of a product: each way to count its batches on the machines, with their charges.

A pattern has no batch more than it needs: without any one of them the need is not met. Its charges are as even as the
machines allow and take no green more than the need, or than the smallest charges. Since a pattern is complete, its
likelihood is computed with its own charges, and the choice between patterns is linear (`batching`).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import ceil, comb

from roastlog.quality.expectation import Expectation
from roastlog.trace.plan.yields import green_with, roasted_with

MOST_COUNTS = 1000  # counts to try of one product; beyond, its batches are on fewer of the machines [our choice]

Limits = tuple[int, int]
"""Smallest and largest charge of a machine. [g]"""


@dataclass(frozen=True)
class Pattern:
    """Batches of a product: the charges on each machine, largest first. [g]"""

    charges_g: tuple[tuple[int, ...], ...]

    @property
    def counts(self) -> tuple[int, ...]:
        """Number of batches on each machine."""
        return tuple(len(charges) for charges in self.charges_g)

    @property
    def all_g(self) -> list[int]:
        """All charges. [g]"""
        return [charge for charges in self.charges_g for charge in charges]

    @property
    def uneven_g(self) -> int:
        """Difference of the largest and the smallest charge; one gram is rounding and no difference. [g]"""
        every = self.all_g
        apart = max(every) - min(every) if every else 0
        return apart if apart > 1 else 0

    def is_within(self, limits: Sequence[Limits]) -> bool:
        """Whether each charge is within the limits of its machine."""
        return all(low <= g <= high for (low, high), some in zip(limits, self.charges_g, strict=True) for g in some)


@dataclass(frozen=True)
class Need:
    """Roasted grams that a product needs with a likelihood, and the charges that are set already."""

    loss: Expectation
    roasted_g: int
    likelihood: float
    set_g: Sequence[int] = ()

    def met_by(self, charges_g: Sequence[int]) -> bool:
        """Whether these charges and those that are set suffice with the likelihood."""
        return roasted_with(self.loss, [*self.set_g, *charges_g], self.likelihood) >= self.roasted_g


def patterns(
    need: Need, limits: Sequence[Limits | None], remaining_g: Sequence[Sequence[int]] = ()
) -> tuple[list[Pattern], bool]:
    """Patterns that meet a need, and whether they are all.

    They are not all where too many machines may take too many batches: then each pattern uses only some machines.

    Parameters
    ----------
    need : Need
        What to meet; a need that is met already has the empty pattern alone.
    limits : sequence of (int, int) or None
        Smallest and largest charge of each machine; None where it may not roast the product. [g]
    remaining_g : sequence of sequence of int
        Charges of an earlier plan on each machine; they are a pattern too, if they suffice. [g]
    """
    if need.met_by([]):
        return [Pattern(tuple(() for _ in limits))], True
    usable = [number for number, limit in enumerate(limits) if limit is not None]
    if not usable:
        return [], True
    counts: set[tuple[int, ...]] = set()
    size = _most_machines(need, [limits[number] for number in usable])
    for some in combinations(usable, size):
        largest_g = [limit[1] if number in some and limit else 0 for number, limit in enumerate(limits)]
        counts.update(_minimal_counts(need, largest_g, ()))
    whole = [limit or (0, 0) for limit in limits]
    found = [charged(need, each, whole) for each in sorted(counts)]
    before = Pattern(tuple(tuple(charges) for charges in remaining_g))
    if before.counts in counts and before not in found and before.is_within(whole) and need.met_by(before.all_g):
        found.append(before)
    return found, size == len(usable)


def _most_machines(need: Need, limits: Sequence[Limits | None]) -> int:
    """Number of machines that a pattern may use, so that not too many counts are to try."""
    most = max(_last_count(need, [limit[1]], (), 0) for limit in limits if limit)
    sizes = range(len(limits), 1, -1)
    return next((size for size in sizes if comb(len(limits), size) * (most + 1) ** (size - 1) <= MOST_COUNTS), 1)


def _minimal_counts(need: Need, largest_g: Sequence[int], first: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    """Counts of full batches that meet a need and no fewer of them; none on machines whose largest charge is 0."""
    place = len(first)
    if not any(largest_g[place + 1 :]):
        count = _last_count(need, largest_g, first, place) if largest_g[place] else 0
        counts = (*first, count, *[0] * (len(largest_g) - place - 1))
        if _is_minimal(need, largest_g, counts):
            yield counts
        return
    count = 0
    while True:
        yield from _minimal_counts(need, largest_g, (*first, count))
        if not largest_g[place] or need.met_by(_full(largest_g, (*first, count))):
            return
        count += 1


def _last_count(need: Need, largest_g: Sequence[int], first: tuple[int, ...], place: int) -> int:
    """Smallest number of full batches of one machine that meets a need after those of the machines before it."""
    green_g = sum(need.set_g) + sum(_full(largest_g, first))
    count = max(0, ceil((need.roasted_g - green_g) / largest_g[place]))  # no batch loses less than nothing
    while not need.met_by([*_full(largest_g, first), *[largest_g[place]] * count]):
        count += 1
    return count


def _is_minimal(need: Need, largest_g: Sequence[int], counts: tuple[int, ...]) -> bool:
    fewer = ((*counts[:place], count - 1, *counts[place + 1 :]) for place, count in enumerate(counts) if count)
    return not any(need.met_by(_full(largest_g, some)) for some in fewer)


def _full(largest_g: Sequence[int], counts: Sequence[int]) -> list[int]:
    return [largest for largest, count in zip(largest_g, counts, strict=False) for _ in range(count)]


def charged(need: Need, counts: Sequence[int], limits: Sequence[Limits]) -> Pattern:
    """Pattern with these counts and the least green that meets the need, which they can meet when they are full."""
    least_g = sum(count * low for count, (low, _) in zip(counts, limits, strict=True))
    most_g = sum(count * high for count, (_, high) in zip(counts, limits, strict=True))
    green_g = least_g
    pattern = even(counts, limits, green_g)
    for _ in range(3):  # the likelihood depends, a little, on how the green is spread
        if need.met_by(pattern.all_g) and green_g == least_g:
            return pattern
        wanted_g = green_with(need.loss, need.roasted_g, [*need.set_g, *pattern.all_g], need.likelihood)
        green_g = min(max(wanted_g - sum(need.set_g), least_g), most_g)
        pattern = even(counts, limits, green_g)
    while not need.met_by(pattern.all_g):
        green_g += 1
        pattern = even(counts, limits, green_g)
    return pattern


def even(counts: Sequence[int], limits: Sequence[Limits], green_g: int) -> Pattern:
    """Spread green over batches as evenly as the machines allow, to the gram.

    ``green_g`` is between the sums of the smallest and of the largest charges. [g]
    """

    def spread(level_g: int) -> list[int]:
        return [min(max(level_g, low), high) for low, high in limits]

    def total(level_g: int) -> int:
        return sum(count * charge for count, charge in zip(counts, spread(level_g), strict=True))

    below, above = 0, max(high for _, high in limits) + 1  # the highest level that takes no more than the green
    while above - below > 1:
        middle = (below + above) // 2
        below, above = (middle, above) if total(middle) <= green_g else (below, middle)
    over_g = green_g - total(below)
    charges = []
    for count, charge, more in zip(counts, spread(below), spread(below + 1), strict=True):
        raised = min(over_g, count) if more > charge else 0
        over_g -= raised
        charges.append((*[more] * raised, *[charge] * (count - raised)))
    return Pattern(tuple(charges))
