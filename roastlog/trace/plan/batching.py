"""Batches of a day: as few as can be, then as even as can be, over all machines, within green and hours.

Each product takes one of its patterns. The goals, each under those before it: fewest batches; on a day that has begun,
fewest batches added or left out, then fewest with another charge; least unevenness within a product, in grams; least
green; the earliest end.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import floor, inf

from roastlog.trace.plan.day import Machine, Product
from roastlog.trace.plan.patterns import Need, Pattern, charged, patterns
from roastlog.trace.plan.solver import Goal, Program, Proof, solve
from roastlog.trace.plan.watch import Watch

END_GAP = 0.01  # of the day's length, to which its end need be proven the earliest [our choice]


@dataclass(frozen=True)
class Job:
    """A product to roast: the need, and what is set already: charges without a choice, and those of an earlier plan.

    ``remaining_g`` are the charges that an earlier plan has on each machine. Each batch is filled to ``least_g``.
    """

    product: Product
    need: Need
    remaining_g: Sequence[Sequence[int]] = ()
    least_g: int = 0

    def limits(self, machines: Sequence[Machine]) -> list[tuple[int, int] | None]:
        """Smallest and largest charge on each machine; None where it may not be roasted. [g]"""
        return [
            (min(max(machine.smallest_g, self.least_g), machine.largest_g), machine.largest_g)
            if machine.roasts(self.product.id)
            else None
            for machine in machines
        ]


@dataclass(frozen=True)
class Room:
    """The means of a day: machines, their hours, and the green of each lot.

    ``first_min`` is when each machine is ready for them, counted from the first one that is; ``left_min`` is the time
    from there to its closing, infinite without one.
    """

    machines: Sequence[Machine]
    first_min: Sequence[float]
    left_min: Sequence[float]
    green_g: Mapping[str, int]


@dataclass(frozen=True)
class Batching:
    """The pattern of each product, and how far each goal is proven."""

    patterns: Mapping[str, Pattern]
    proofs: Sequence[Proof]


def minutes(product: Product, machine: Machine) -> float:
    """Expected time that a batch takes of its machine: from charge to drop, and the between-batch routine. [min]"""
    return product.length_s.mean / 60 + machine.between_min


def parts_g(product: Product, green_g: int) -> dict[str, int]:
    """Whole grams of each lot in so much green; they are the green together. [g]"""
    parts: dict[str, int] = {}
    taken, share = 0, 0.0
    for each in product.shares:
        share += each.share
        upto = min(green_g, floor(green_g * share + 0.5))
        parts[each.lot] = parts.get(each.lot, 0) + upto - taken
        taken = upto
    if taken < green_g:  # the shares are 1 but for the last bits
        parts[product.shares[-1].lot] += green_g - taken
    return parts


def choose(jobs: Sequence[Job], room: Room, watch: Watch) -> Batching | None:
    """Choose the batches of all jobs; None if not all needs can be met, or if it was not found out in time how.

    Raises
    ------
    PlanCancelled
        If the planning was cancelled.
    """
    offered: list[list[Pattern]] = []
    complete = True
    for number, job in enumerate(jobs):
        watch.at("patterns", number / len(jobs))
        found, whole = patterns(job.need, job.limits(room.machines), job.remaining_g)
        if not found:
            return None
        offered.append(found)
        complete = complete and whole
    program = Program()
    columns = [[program.column(1.0, whole=True) for _ in some] for some in offered]
    every = [
        (column, pattern, job)
        for some, some_columns, job in zip(offered, columns, jobs, strict=True)
        for pattern, column in zip(some, some_columns, strict=True)
    ]
    for some_columns in columns:
        program.row(dict.fromkeys(some_columns, 1.0), 1.0, 1.0)
    _within_green(program, every, room)
    end = _within_hours(program, every, room)
    solution = solve(program, _goals(every, end), watch, "batches")
    if solution is None:
        return None
    taken = {job.product.id: pattern for column, pattern, job in every if solution.values[column] > 0.5}
    fewest = sum(min(len(pattern.all_g) for pattern in some) for some in offered)
    return Batching(taken, [_bounded(proof, fewest, complete=complete) for proof in solution.proofs])


def of_counts(jobs: Sequence[Job], counts: Mapping[str, Sequence[int]], room: Room) -> Batching | None:
    """Batches of all jobs with given counts, which can meet the needs; None if they take more green than there is.

    No goal is proven.
    """
    found: dict[str, Pattern] = {}
    left_g = dict(room.green_g)
    for job in jobs:
        limits = [limit or (0, 0) for limit in job.limits(room.machines)]
        some = list(counts.get(job.product.id, [0] * len(limits)))
        if job.need.met_by([]):
            some = [0] * len(limits)
        pattern = found[job.product.id] = charged(job.need, some, limits)
        for lot, grams in parts_g(job.product, sum(pattern.all_g)).items():
            left_g[lot] = left_g.get(lot, 0) - grams
            if left_g[lot] < 0:
                return None
    total = float(sum(len(pattern.all_g) for pattern in found.values()))
    uneven_g = float(sum(pattern.uneven_g for pattern in found.values()))
    return Batching(found, [Proof("batches", total, 0.0), Proof("uneven", uneven_g, 0.0)])


def _within_green(program: Program, every: Sequence[tuple[int, Pattern, Job]], room: Room) -> None:
    takes: dict[str, dict[int, float]] = {}
    for column, pattern, job in every:
        for lot, grams in parts_g(job.product, sum(pattern.all_g)).items():
            takes.setdefault(lot, {})[column] = grams
    for lot, terms in takes.items():
        program.row(terms, high=room.green_g.get(lot, 0) + 0.5)


def _within_hours(program: Program, every: Sequence[tuple[int, Pattern, Job]], room: Room) -> int:
    """Add the rows of the machines' hours; returns the column of the day's end. [min]"""
    end = program.column()
    for place, machine in enumerate(room.machines):
        takes = {
            column: pattern.counts[place] * minutes(job.product, machine)
            for column, pattern, job in every
            if pattern.counts[place]
        }
        if room.left_min[place] < inf:
            program.row(takes, high=room.left_min[place] + machine.between_min + 1e-6)  # none after the last drop
        used = {}
        if room.first_min[place]:  # a machine that opens late, or has begun, counts only if it is used
            column = program.column(1.0, whole=True)
            for number in takes:
                program.row({number: -1.0, column: 1.0}, low=0.0)
            used = {column: room.first_min[place]}
        program.row(takes | used | {end: -1.0}, high=machine.between_min)
    return end


def _goals(every: Sequence[tuple[int, Pattern, Job]], end: int) -> list[Goal]:
    goals = [Goal("batches", {column: float(len(pattern.all_g)) for column, pattern, _ in every})]
    if any(job.remaining_g for _, _, job in every):
        goals.append(Goal("changes", {column: float(_changes(pattern, job)) for column, pattern, job in every}))
        goals.append(Goal("recharged", {column: float(_recharged(pattern, job)) for column, pattern, job in every}))
    return [
        *goals,
        Goal("uneven", {column: float(pattern.uneven_g) for column, pattern, _ in every}),
        Goal("green", {column: float(sum(pattern.all_g)) for column, pattern, _ in every}),
        Goal("end", {end: 1.0}, gap=END_GAP),
    ]


def _changes(pattern: Pattern, job: Job) -> int:
    """Batches that are added or left out, by machine."""
    if not job.remaining_g:
        return 0
    return sum(abs(count - len(charges)) for count, charges in zip(pattern.counts, job.remaining_g, strict=True))


def _recharged(pattern: Pattern, job: Job) -> int:
    """Batches whose charge is not one of the earlier plan on that machine."""
    if not job.remaining_g:
        return 0
    pairs = zip(pattern.charges_g, job.remaining_g, strict=True)
    return sum((Counter(charges) - Counter(before)).total() for charges, before in pairs)


def _bounded(proof: Proof, fewest: int, *, complete: bool) -> Proof:
    """The proof as it is, or, where some patterns were left out, with a bound that holds without them."""
    if complete:
        return proof
    return Proof(proof.goal, proof.value, float(fewest) if proof.goal == "batches" else 0.0)
