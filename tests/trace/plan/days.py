"""Days to plan: a small roastery, and random ones."""

import random
from collections.abc import Sequence
from datetime import date, timedelta

from roastlog.trace.plan.day import MS_PER_MIN, Day, Machine, Order, Product, Share

TODAY = date(2026, 11, 28)
OPENS_MS = 1_795_600_000_000


def product(name: str, *, mean: float = 0.15, batches: int = 12, seed: int = 1, **also: object) -> Product:
    """A product of its own lot, with losses and lengths of earlier batches."""
    draw = random.Random(f"{name} {seed}")
    fields: dict[str, object] = {
        "shares": (Share(f"lot-{name}", 1.0),),
        "losses": tuple(draw.gauss(mean, 0.007) for _ in range(batches)),
        "lengths_s": tuple(draw.gauss(640.0, 20.0) for _ in range(batches)),
    }
    return Product(name, name.title(), **(fields | also))


def order(name: str, grams: int, *, days: int = 1, bag_g: int = 250, number: int = 0) -> Order:
    """An order of whole bags, due in some days."""
    assert grams % bag_g == 0
    return Order(f"{name}-{days}-{number}", "Somebody", name, bag_g, grams // bag_g, TODAY + timedelta(days))


def machine(name: str = "drum", low_g: int = 800, high_g: int = 4500, **also: object) -> Machine:
    """A machine that opens at eight."""
    return Machine(name, name.title(), low_g, high_g, OPENS_MS, **also)


def day(orders: Sequence[Order], products: Sequence[Product], machines: Sequence[Machine], **also: object) -> Day:
    """A day with plenty of green for each product."""
    lots = {part.lot for each in products for part in each.shares}
    return Day(TODAY, orders, products, machines, also.pop("green_g", dict.fromkeys(lots, 500_000)), **also)


def after_ms(minutes: float) -> int:
    """An instant so long after the machines open."""
    return OPENS_MS + round(minutes * MS_PER_MIN)


def large(seed: int, *, closes_ms: int | None = None, green_g: int = 200_000) -> Day:
    """40 orders of 12 products, a third of them blends, on 3 machines, one of which may roast nine of them alone."""
    draw = random.Random(seed)
    lots = [f"lot-{number}" for number in range(8)]
    products = []
    for number in range(12):
        chosen = draw.sample(lots, draw.choice([1, 1, 2, 3]))
        products.append(
            product(
                f"p{number}",
                mean=draw.uniform(0.12, 0.2),
                batches=draw.choice([0, 1, 3, 10, 40]),
                seed=seed,
                shares=tuple(Share(lot, 1 / len(chosen)) for lot in chosen),
                kind=draw.choice(["plain"] * 4 + ["decaf", "flavoured"]),
            )
        )
    orders = [
        order(f"p{draw.randrange(12)}", 500 * draw.randint(2, 30), days=draw.randint(0, 6), bag_g=500, number=number)
        for number in range(40)
    ]
    some = frozenset(f"p{number}" for number in range(12) if number % 4)
    machines = [
        machine("small", closes_ms=closes_ms),
        machine("middle", 1000, 6000, closes_ms=closes_ms),
        machine("large", 3000, 12_000, closes_ms=closes_ms, products=some),
    ]
    return day(orders, products, machines, green_g=dict.fromkeys(lots, green_g))
