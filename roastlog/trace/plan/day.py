"""A day to plan: orders, products, machines, green, stock, and what the person chose.

Masses are whole grams, instants UTC milliseconds, durations minutes or seconds as their names say. A day is checked
when it is planned (`checks`), not when it is made.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Final, Literal

from roastlog.quality.expectation import Expectation, Practice
from roastlog.quality.loss import Degree, expected_loss

LIKELIHOOD = 0.9  # that the green of a product suffices [our choice]
BAND = 0.8  # share of days that end within the band of times [our choice]
MS_PER_MIN = 60_000

Kind = Literal["plain", "decaf", "flavoured"]

# Charge to drop of one batch: 8 to 16 minutes on a small drum [memory: practice]; its spread [our choice].
LENGTH_PRACTICE_S: Final = Practice(480.0, 960.0, 45.0)
LEAST_LENGTH_SPREAD_S = 5.0  # a hand on the lever [our choice]


@dataclass(frozen=True)
class Order:
    """A line of an order: ``count`` bags of ``bag_g`` of a product, due at the end of a day. Lines may share an id."""

    id: str
    customer: str
    product: str
    bag_g: int
    count: int
    due: date

    @property
    def grams(self) -> int:
        """Roasted grams in all bags."""
        return self.bag_g * self.count


@dataclass(frozen=True)
class Share:
    """Part of a green lot in a product; the shares of a product are 1 together."""

    lot: str
    share: float


@dataclass(frozen=True)
class Product:
    """A lot, or a blend of lots before roasting, with what its earlier batches lost and how long they took.

    ``losses`` are shares of the green, 0 to 0.4; ``lengths_s`` are from charge to drop. Without a ``degree`` its
    place from light to dark follows from the loss.
    """

    id: str
    name: str
    shares: Sequence[Share]
    losses: Sequence[float] = ()
    lengths_s: Sequence[float] = ()
    degree: Degree | None = None
    kind: Kind = "plain"

    @cached_property
    def loss(self) -> Expectation:
        """Roast loss of its next batches, as a share."""
        return expected_loss(self.losses, self.degree)

    @cached_property
    def length_s(self) -> Expectation:
        """Time from charge to drop of its next batches."""
        return Expectation.of(self.lengths_s, LENGTH_PRACTICE_S, least_spread=LEAST_LENGTH_SPREAD_S)


@dataclass(frozen=True)
class Machine:
    """A machine of the day: its charges, its between-batch routine, and the hours in which it may roast.

    ``products`` are the ids that it may roast, None for all. The warm-up may begin at ``opens_ms``; the last drop is
    expected by ``closes_ms``, if the day has an end. The routine goes from a drop to the next charge.
    """

    id: str
    name: str
    smallest_g: int
    largest_g: int
    opens_ms: int
    closes_ms: int | None = None
    warm_up_min: float = 30.0
    between_min: float = 5.0
    between_spread_min: float = 1.0
    products: frozenset[str] | None = None

    def roasts(self, product: str) -> bool:
        """Whether it may roast a product."""
        return self.products is None or product in self.products


@dataclass(frozen=True)
class Done:
    """A batch that was charged today. ``roasted_g`` is None until it is weighed, and does not count if rejected."""

    product: str
    machine: str
    green_g: int
    charged_ms: int
    dropped_ms: int | None = None
    roasted_g: int | None = None
    rejected: bool = False


@dataclass(frozen=True)
class Pin:
    """A batch with a charge that the person set. It stays at its ``position`` in the machine's day, from 1, if any.

    A split batch is two pins without a position: they keep their charges, and the rules order them.
    """

    product: str
    machine: str
    green_g: int
    position: int | None = None


@dataclass(frozen=True)
class Leave:
    """So many roasted grams of a product are left unroasted, from its last orders."""

    product: str
    grams: int


@dataclass(frozen=True)
class Fill:
    """Each batch of a product is filled to at least this charge, as far as its machine takes it."""

    product: str
    charge_g: int


@dataclass(frozen=True)
class Spare:
    """A machine is not used."""

    machine: str


Choice = Pin | Leave | Fill | Spare


@dataclass(frozen=True)
class Batch:
    """A batch to roast: its green from each lot; whether the person set it; a pinned ``position``, from 1, if any."""

    product: str
    machine: str
    green_g: int
    parts_g: Mapping[str, int]
    is_set: bool = False
    position: int | None = None


@dataclass(frozen=True)
class Day:
    """All that a plan is made from; the same day always gives the same plan.

    ``green_g`` is the green of each lot, and ``stock_g`` the roasted stock of each product, as they were before the
    first batch in ``done``: the plan takes the green of the batches in ``done`` off, and adds what they gave.
    ``remaining`` are the batches of an earlier plan, each machine's in its order, that this one changes as little as
    it can. ``now_ms`` is None before the day begins.
    """

    date: date
    orders: Sequence[Order]
    products: Sequence[Product]
    machines: Sequence[Machine]
    green_g: Mapping[str, int]
    stock_g: Mapping[str, int] = field(default_factory=dict)
    likelihood: float = LIKELIHOOD
    choices: Sequence[Choice] = ()
    done: Sequence[Done] = ()
    remaining: Sequence[Batch] = ()
    now_ms: int | None = None

    @cached_property
    def by_product(self) -> Mapping[str, Product]:
        """Products by their ids."""
        return {product.id: product for product in self.products}

    @property
    def used_machines(self) -> Sequence[Machine]:
        """The machines without those that are spared."""
        spared = {choice.machine for choice in self.choices if isinstance(choice, Spare)}
        return [machine for machine in self.machines if machine.id not in spared]

    @property
    def pins(self) -> Sequence[Pin]:
        """The batches that the person set."""
        return [choice for choice in self.choices if isinstance(choice, Pin)]
