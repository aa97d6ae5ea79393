"""Demand: roasted grams that the orders need beyond the stock, earliest due first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from roastlog.trace.plan.day import Order


@dataclass(frozen=True)
class Allocation:
    """Where the grams of an order come from: stock, and roasting; or, as chosen, they are left.

    The three are the order's grams together.
    """

    order: Order
    from_stock_g: int
    to_roast_g: int
    left_g: int = 0


def allocate(
    orders: Sequence[Order], stock_g: Mapping[str, int], left_g: Mapping[str, int] | None = None
) -> list[Allocation]:
    """Give the roasted stock to the orders, earliest due first, then as they stand.

    Parameters
    ----------
    orders : sequence of Order
        In any order; overdue ones come first as the earliest due.
    stock_g : mapping
        Roasted stock of each product, at least 0; a product that is not named has none. [g]
    left_g : mapping or None
        Grams of each product that shall be left unroasted, from the last orders. [g]

    Returns
    -------
    list of Allocation
        One for each order, earliest due first.
    """
    in_stock = dict(stock_g)
    found = []
    for order in sorted(orders, key=lambda order: order.due):
        taken_g = min(order.grams, in_stock.get(order.product, 0))
        in_stock[order.product] = in_stock.get(order.product, 0) - taken_g
        found.append(Allocation(order, taken_g, order.grams - taken_g))
    short_g = short_by_order(found, left_g or {})
    return [
        Allocation(each.order, each.from_stock_g, each.to_roast_g - left, left)
        for each, left in zip(found, short_g, strict=True)
    ]


def roasted_needed(allocations: Sequence[Allocation]) -> dict[str, int]:
    """Roasted grams that are to be roasted of each product; products that need none are left out. [g]"""
    needed: dict[str, int] = {}
    for each in allocations:
        if each.to_roast_g:
            needed[each.order.product] = needed.get(each.order.product, 0) + each.to_roast_g
    return needed


def short_by_order(allocations: Sequence[Allocation], short_g: Mapping[str, int]) -> list[int]:
    """Grams that each order lacks if so many of each product cannot be roasted: the last orders lack first. [g]"""
    missing = dict(short_g)
    found = []
    for each in reversed(allocations):
        lacking_g = min(each.to_roast_g, missing.get(each.order.product, 0))
        missing[each.order.product] = missing.get(each.order.product, 0) - lacking_g
        found.append(lacking_g)
    return found[::-1]
