"""Order of the batches on a machine.

The rules, in words:

1. A batch that is pinned to a place stays there.
2. Plain coffees come first, then decaf, then flavoured ones: each apart, so that nothing of them is left in the drum
   for the plain ones.
3. Within each, light comes before dark: by degree of roast.
4. The batches of one product follow each other. Within a degree, like charges come together: the products follow by
   charge, upward or downward, whichever begins nearer to the charge before.
5. The first batch of a day roasts on a drum whose heat has not settled. So, within the degree that begins the day, the
   product comes first that has the smallest need, because the least coffee is at stake; among equal ones the product
   whose loss varies least.

On a day that has begun, batches that were planned before keep their order. One that is added follows the last one of
its product; without one, it stands before the first batch that the rules put after it.
"""

from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Final

from roastlog.quality.loss import PRACTICE, degree_of
from roastlog.trace.plan.day import Batch, Product

_KINDS: Final = ("plain", "decaf", "flavoured")
_DEGREES: Final = tuple(PRACTICE)


def rank(product: Product) -> tuple[int, int]:
    """Place of a product by kind and degree of roast: the smaller, the earlier."""
    degree = product.degree or degree_of(product.loss.mean)
    return _KINDS.index(product.kind), _DEGREES.index(degree)


def sequence(
    batches: Sequence[Batch],
    products: Mapping[str, Product],
    needed_g: Mapping[str, int],
    *,
    before: Sequence[str] = (),
    done: int = 0,
    last_g: int | None = None,
) -> list[Batch]:
    """Order the batches of one machine by the rules above.

    Parameters
    ----------
    batches : sequence of Batch
        All of one machine, in any order.
    products : mapping
        Products by their ids.
    needed_g : mapping
        Roasted grams that the orders need of each product; they decide about the first batch of the day. [g]
    before : sequence of str
        Products of the remaining batches of an earlier plan, in its order.
    done : int
        Number of batches that this machine has charged today.
    last_g : int or None
        The last charge of them. [g]
    """
    free = [batch for batch in batches if batch.position is None]
    if before:
        ordered = _as_before(free, products, before)
    else:
        ordered = _by_rules(free, products, needed_g, first=done == 0, last_g=last_g)
    pinned = sorted((batch for batch in batches if batch.position is not None), key=lambda batch: batch.position or 0)
    for batch in pinned:  # from the front on, so that each one lands on its place
        ordered.insert(max(0, (batch.position or 1) - 1 - done), batch)
    return ordered


def _by_rules(
    batches: Sequence[Batch],
    products: Mapping[str, Product],
    needed_g: Mapping[str, int],
    *,
    first: bool,
    last_g: int | None,
) -> list[Batch]:
    ordered: list[Batch] = []
    blocks = _blocks(batches)
    for _, alike in groupby(sorted(blocks, key=lambda name: rank(products[name])), lambda name: rank(products[name])):
        names = list(alike)
        if first and not ordered:
            opening = min(
                names, key=lambda name: (needed_g.get(name, 0), products[name].loss.spread, names.index(name))
            )
            names.remove(opening)
            ordered += blocks[opening]
        names.sort(key=lambda name: _mean_g(blocks[name]))
        at_g = ordered[-1].green_g if ordered else last_g
        if names and at_g is not None:
            low_g, high_g = _mean_g(blocks[names[0]]), _mean_g(blocks[names[-1]])
            if abs(at_g - high_g) < abs(at_g - low_g):
                names.reverse()
        for name in names:
            ordered += blocks[name]
    return ordered


def _as_before(batches: Sequence[Batch], products: Mapping[str, Product], before: Sequence[str]) -> list[Batch]:
    blocks = _blocks(batches)
    ordered = [blocks[name].pop(0) for name in before if blocks.get(name)]
    for name, more in blocks.items():
        for batch in more:
            own = [place for place, other in enumerate(ordered) if other.product == name]
            later = [
                place for place, other in enumerate(ordered) if rank(products[other.product]) > rank(products[name])
            ]
            ordered.insert(own[-1] + 1 if own else later[0] if later else len(ordered), batch)
    return ordered


def _blocks(batches: Sequence[Batch]) -> dict[str, list[Batch]]:
    blocks: dict[str, list[Batch]] = {}
    for batch in sorted(batches, key=lambda batch: -batch.green_g):
        blocks.setdefault(batch.product, []).append(batch)
    return blocks


def _mean_g(batches: Sequence[Batch]) -> float:
    return sum(batch.green_g for batch in batches) / len(batches)
