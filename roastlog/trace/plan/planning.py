"""The plan of a day, and how it is made."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf

from roastlog.errors import PlanError
from roastlog.languages import _
from roastlog.trace.plan.batching import Batching, Job, Room, choose, minutes, of_counts, parts_g
from roastlog.trace.plan.checks import check
from roastlog.trace.plan.day import MS_PER_MIN, Batch, Day, Fill, Leave, Machine, Order, Product
from roastlog.trace.plan.demand import Allocation, allocate, roasted_needed
from roastlog.trace.plan.patterns import Need
from roastlog.trace.plan.schedule import MachineDay, Time, day_end, first_charge_ms, schedule
from roastlog.trace.plan.sequence import sequence
from roastlog.trace.plan.shortage import Reason, Shortfall, deliverable, shortfalls
from roastlog.trace.plan.solver import Proof
from roastlog.trace.plan.watch import UNWATCHED, Watch
from roastlog.trace.plan.yields import green_with, likelihood_of, roasted_with

_ROUNDING_G = 100  # beyond, all products give way a little, and not only those that are short


@dataclass(frozen=True)
class ProductPlan:
    """The part of a plan that is about one product.

    ``needed_g`` are the roasted grams that the orders still need; ``charges_g`` the charges for them, those in the drum
    and in the cooler among them. ``roasted_g`` is what they are expected to give, and ``likely_g`` what they give with
    the plan's likelihood. ``likelihood`` is that of meeting the whole need, from 0 to 1.
    """

    product: Product
    needed_g: int
    charges_g: Sequence[int]
    roasted_g: int
    likely_g: int
    likelihood: float

    @property
    def short_g(self) -> int:
        """Roasted grams that the need lacks at the plan's likelihood. [g]"""
        return max(0, self.needed_g - self.likely_g)

    @property
    def spare_g(self) -> int:
        """Roasted grams expected beyond the need: they go to stock. [g]"""
        return max(0, self.roasted_g - self.needed_g)


@dataclass(frozen=True)
class Plan:
    """The plan of a day.

    ``allocations`` has each order, earliest due first; ``shortfalls`` those that lack something. ``machines`` have
    the batches in their order, with times; ``end`` is the last drop of all, None if nothing is to be roasted.
    ``green_after_g`` is what each lot has left, and ``proofs`` say how far each goal of the batching is proven.
    """

    day: Day
    allocations: Sequence[Allocation]
    products: Sequence[ProductPlan]
    shortfalls: Sequence[Shortfall]
    machines: Sequence[MachineDay]
    end: Time | None
    green_after_g: Mapping[str, int]
    proofs: Sequence[Proof]

    @cached_property
    def batches(self) -> Sequence[Batch]:
        """All batches that are to be charged, machine by machine."""
        return [slot.batch for machine in self.machines for slot in machine.slots]

    @property
    def green_g(self) -> int:
        """Green of all batches that are to be charged. [g]"""
        return sum(batch.green_g for batch in self.batches)

    @property
    def likelihood(self) -> float:
        """Probability that every product meets its whole need, if products vary independently."""
        found = 1.0
        for each in self.products:
            found *= each.likelihood
        return found

    @property
    def is_proven(self) -> bool:
        """Whether no plan leaves less unroasted, needs fewer batches, or has as few with more even charges."""
        return all(proof.proven for proof in self.proofs if proof.goal not in {"green", "end"})

    @property
    def overdue(self) -> Sequence[Order]:
        """Orders that were due before this day."""
        return [each.order for each in self.allocations if each.order.due < self.day.date]

    @property
    def green_short_g(self) -> Mapping[str, int]:
        """Green that each lot lacks for the orders that are short for want of green. [g]"""
        lacking = {each.order.product for each in self.shortfalls if "green" in each.reasons}
        found: dict[str, int] = {}
        for each in self.products:
            if each.product.id in lacking:
                green_g = green_with(each.product.loss, each.short_g, [1.0], self.day.likelihood)
                for lot, grams in parts_g(each.product, green_g).items():
                    found[lot] = found.get(lot, 0) + grams
        return found


def plan_day(day: Day, watch: Watch = UNWATCHED) -> Plan:
    """Make the plan of a day.

    Raises
    ------
    PlanError
        If the day cannot be planned as it is given; see `checks.check`. Orders that cannot be met are no error.
    PlanCancelled
        If the watch said so. It is asked between the steps, and between the calls of the solver, each of which takes
        about half a second at most.
    """
    watch.at("demand")
    check(day)
    left_g: dict[str, int] = {}
    for choice in day.choices:
        if isinstance(choice, Leave):
            left_g[choice.product] = left_g.get(choice.product, 0) + choice.grams
    allocations = allocate(day.orders, {name: max(0, grams) for name, grams in day.stock_g.items()}, left_g)
    machines = list(day.used_machines)
    room = _room(day, machines)
    needed_g = roasted_needed(allocations)
    jobs = [job for product in day.products if (job := _job(product, day, machines, needed_g))]
    batching, reasons = _batching(jobs, allocations, room, watch)
    watch.at("order")
    batches = _batches(day, machines, batching)
    products = [_product_plan(job, batching, day.likelihood) for job in jobs]
    still_g = {each.product.id: each.needed_g for each in products}
    days = [_machine_day(machine, batches, day, still_g) for machine in machines]
    after_g = dict(room.green_g)
    for batch in batches:
        if not batch.is_set:
            for lot, grams in batch.parts_g.items():
                after_g[lot] = after_g.get(lot, 0) - grams
    short_g = {each.product.id: each.short_g for each in products}
    short = shortfalls(allocations, short_g, reasons)
    return Plan(day, allocations, products, short, days, day_end(days), after_g, batching.proofs)


def _room(day: Day, machines: Sequence[Machine]) -> Room:
    products = day.by_product
    green_g = {lot: max(0, grams) for lot, grams in day.green_g.items()}
    for done in day.done:
        for lot, grams in parts_g(products[done.product], done.green_g).items():
            green_g[lot] = max(0, green_g.get(lot, 0) - grams)
    for pin in day.pins:
        for lot, grams in parts_g(products[pin.product], pin.green_g).items():
            green_g[lot] = green_g.get(lot, 0) - grams
            if green_g[lot] < 0:
                raise PlanError(
                    _(
                        "The batches that you set take {grams} g more of lot {lot} than there is. Lower a charge.",
                        grams=-green_g[lot],
                        lot=lot,
                    )
                )
    ready_min = []
    for machine in machines:
        set_min = sum(minutes(products[pin.product], machine) for pin in day.pins if pin.machine == machine.id)
        ready_min.append(first_charge_ms(machine, day, products) / MS_PER_MIN + set_min)
    left_min = [
        inf if machine.closes_ms is None else max(machine.closes_ms / MS_PER_MIN - ready, -machine.between_min)
        for machine, ready in zip(machines, ready_min, strict=True)
    ]
    return Room(machines, [each - min(ready_min) for each in ready_min], left_min, green_g)


def _job(product: Product, day: Day, machines: Sequence[Machine], needed_g: Mapping[str, int]) -> Job | None:
    """The job of a product; None if no order needs it and nothing of it is set."""
    good = [each for each in day.done if each.product == product.id and not each.rejected]
    weighed_g = sum(each.roasted_g for each in good if each.roasted_g is not None)
    set_g = [each.green_g for each in good if each.roasted_g is None]
    set_g += [pin.green_g for pin in day.pins if pin.product == product.id]
    need_g = max(0, needed_g.get(product.id, 0) - weighed_g)
    if not need_g and not set_g:
        return None
    remaining_g: list[list[int]] = []
    if day.remaining:
        free = [batch for batch in day.remaining if batch.product == product.id and not batch.is_set]
        remaining_g = [[batch.green_g for batch in free if batch.machine == machine.id] for machine in machines]
    least_g = max(
        (choice.charge_g for choice in day.choices if isinstance(choice, Fill) and choice.product == product.id),
        default=0,
    )
    return Job(product, Need(product.loss, need_g, day.likelihood, set_g), remaining_g, least_g)


def _batching(
    jobs: Sequence[Job], allocations: Sequence[Allocation], room: Room, watch: Watch
) -> tuple[Batching, Mapping[str, Sequence[Reason]]]:
    """The batches of the jobs, or of as much of them as can be had, and the reasons why it is not more."""
    if not jobs:
        return Batching({}, ()), {}
    batching = choose(jobs, room, watch)
    if batching is not None:
        return batching, {}
    possible = deliverable(jobs, allocations, room, watch)
    batching = choose(_reduced(jobs, possible.roasted_g, 0), room, watch) if possible.reasons else None
    less_g = 1
    while batching is None:  # no time, or whole grams ask for a little more than the linear model thought
        batching = of_counts(_reduced(jobs, possible.roasted_g, less_g), possible.counts, room)
        less_g *= 2
    return Batching(batching.patterns, [*possible.proofs, *batching.proofs]), possible.reasons


def _reduced(jobs: Sequence[Job], roasted_g: Mapping[str, int], less_g: int) -> list[Job]:
    """The jobs with what can be had of them; less by some grams for rounding, first of those that are short anyway."""
    found = []
    for job in jobs:
        possible_g = roasted_g[job.product.id]
        if possible_g < job.need.roasted_g or less_g > _ROUNDING_G:
            possible_g = max(0, possible_g - less_g)
        found.append(replace(job, need=replace(job.need, roasted_g=possible_g)))
    return found


def _batches(day: Day, machines: Sequence[Machine], batching: Batching) -> list[Batch]:
    products = day.by_product
    found = [
        Batch(pin.product, pin.machine, pin.green_g, parts_g(products[pin.product], pin.green_g), True, pin.position)
        for pin in day.pins
    ]
    for name, pattern in batching.patterns.items():
        upto_g = 0
        for machine, charges in zip(machines, pattern.charges_g, strict=True):
            for charge_g in charges:  # rounded so that the batches together take what the pattern takes
                before = parts_g(products[name], upto_g)
                upto_g += charge_g
                parts = {lot: grams - before[lot] for lot, grams in parts_g(products[name], upto_g).items()}
                found.append(Batch(name, machine.id, charge_g, parts))
    return found


def _product_plan(job: Job, batching: Batching, likelihood: float) -> ProductPlan:
    charges_g = [*job.need.set_g, *batching.patterns[job.product.id].all_g]
    loss = job.product.loss
    return ProductPlan(
        product=job.product,
        needed_g=job.need.roasted_g,
        charges_g=charges_g,
        roasted_g=round(sum(charges_g) * (1 - loss.mean)),
        likely_g=roasted_with(loss, charges_g, likelihood),
        likelihood=likelihood_of(loss, charges_g, job.need.roasted_g),
    )


def _machine_day(machine: Machine, batches: Sequence[Batch], day: Day, needed_g: Mapping[str, int]) -> MachineDay:
    done = sorted((each for each in day.done if each.machine == machine.id), key=lambda each: each.charged_ms)
    ordered = sequence(
        [batch for batch in batches if batch.machine == machine.id],
        day.by_product,
        needed_g,
        before=[batch.product for batch in day.remaining if batch.machine == machine.id and batch.position is None],
        done=len(done),
        last_g=done[-1].green_g if done else None,
    )
    return schedule(machine, ordered, day)
