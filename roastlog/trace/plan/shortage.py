"""Shortages and their reasons, when the needs of a day are more than its green, its charges or its hours take.

The orders that are due first get what there is. Here the green of each batch is free and the yield of a product is that
of a number of batches counted beforehand, so that what can be roasted is linear in both.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date  # noqa: TC003 - a type, but of a public function too
from itertools import combinations
from math import ceil, floor, inf
from typing import Final, Literal

from roastlog.trace.plan.batching import Job, Room, minutes
from roastlog.trace.plan.day import Order
from roastlog.trace.plan.demand import Allocation, short_by_order
from roastlog.trace.plan.patterns import even
from roastlog.trace.plan.solver import Goal, Program, Proof, solve
from roastlog.trace.plan.watch import Watch
from roastlog.trace.plan.yields import likely_yield, roasted_with

Reason = Literal["green", "charge", "time", "machine", "unsolved"]
_LIFTED: Final[Sequence[Reason]] = ("green", "charge", "time")
_ROUNDING_G = 2  # green of a product in a lot, kept for rounding to whole grams
_NOTHING_G = 0.5  # less is the solver's rounding
_TOLERANCE_G = 0.1  # of the solver, over all due dates
_REASON_GAP = 0.02  # a reason need not be the best plan without it


@dataclass(frozen=True)
class Shortfall:
    """Grams that an order will lack, at the likelihood of the plan, and the reasons.

    ``green``: its lots have too little. ``charge``: what is left of the green is less than a smallest charge. ``time``:
    the machines close before. ``machine``: none may roast the product. Without any one of the named there would be
    more; or, if none alone is to blame, without all of them. ``unsolved``: the solver found no more in its time.
    """

    order: Order
    grams: int
    reasons: Sequence[Reason]


@dataclass(frozen=True)
class Deliverable:
    """Roasted grams of each product that can be had, with how many batches on each machine, and why it is not more.

    ``proofs`` are those of what lacks by each due date.
    """

    roasted_g: Mapping[str, int]
    counts: Mapping[str, Sequence[int]]
    reasons: Mapping[str, Sequence[Reason]]
    proofs: Sequence[Proof]


def shortfalls(
    allocations: Sequence[Allocation], short_g: Mapping[str, int], reasons: Mapping[str, Sequence[Reason]]
) -> list[Shortfall]:
    """The orders that lack something, the earliest due first."""
    return [
        Shortfall(each.order, grams, reasons.get(each.order.product, ("unsolved",)))
        for each, grams in zip(allocations, short_by_order(allocations, short_g), strict=True)
        if grams
    ]


def deliverable(jobs: Sequence[Job], allocations: Sequence[Allocation], room: Room, watch: Watch) -> Deliverable:
    """Roasted grams of each product that can be had, those due first before those due later.

    Raises
    ------
    PlanCancelled
        If the planning was cancelled.
    """
    reasons: dict[str, Sequence[Reason]] = {
        job.product.id: ("machine",) for job in jobs if not any(job.limits(room.machines))
    }
    able = [job for job in jobs if job.product.id not in reasons]
    if not able:
        return Deliverable({job.product.id: 0 for job in jobs}, {}, reasons, ())
    least = _Model(able, allocations, room, [0] * len(able)).least(watch)
    if any(least.lacks_g):  # with the batches counted, the likelihood asks for less green
        counted = [_alike(some, job, room) for some, job in zip(least.counts, able, strict=True)]
        again = _Model(able, allocations, room, counted).least(watch)
        least = again if again.is_found else least
    roasted_g = {job.product.id: 0 for job in jobs}
    for number, job in enumerate(able):
        roasted_g[job.product.id] = _roasted(
            job, least.counts[number], least.green_g[number], least.lacks_g[number], room
        )
    counts = {job.product.id: some for job, some in zip(able, least.counts, strict=True)}
    if least.is_found:
        reasons |= _reasons(able, allocations, room, least, watch)
    return Deliverable(roasted_g, counts, reasons, least.proofs)


@dataclass(frozen=True)
class _Least:
    """The shortage of each product, its number of batches on each machine and their green, and the proofs."""

    lacks_g: Sequence[float]
    counts: Sequence[Sequence[int]]
    green_g: Sequence[float]
    proofs: Sequence[Proof]
    is_found: bool = True


def _reasons(
    jobs: Sequence[Job], allocations: Sequence[Allocation], room: Room, least: _Least, watch: Watch
) -> dict[str, Sequence[Reason]]:
    """Which limits, if they were lifted, would give more of a product that is short: one alone, or else several."""
    found: dict[str, Sequence[Reason]] = {}
    at_least = [_alike(some, job, room) for some, job in zip(least.counts, jobs, strict=True)]
    for size in range(1, len(_LIFTED) + 1):
        lacking = [number for number, g in enumerate(least.lacks_g) if g and jobs[number].product.id not in found]
        for lifted in combinations(_LIFTED, size) if lacking else ():
            watch.at("reasons", (size - 1) / len(_LIFTED))
            better_g = _Model(jobs, allocations, room, at_least, lifted).least_in_all(least.lacks_g, watch)
            for number in lacking:
                if better_g[number] < least.lacks_g[number] - 1:
                    name = jobs[number].product.id
                    found[name] = tuple(dict.fromkeys((*found.get(name, ()), *lifted)))
    return found


class _Model:
    """The linear model: counts and green of each product on each machine, and what each lacks of each due date."""

    def __init__(
        self,
        jobs: Sequence[Job],
        allocations: Sequence[Allocation],
        room: Room,
        at_least: Sequence[int],
        lifted: Sequence[Reason] = (),
    ) -> None:
        self._program = Program()
        self._counts: list[dict[int, int]] = []  # columns by place of the machine, for each job
        self._greens: list[list[int]] = []  # columns, for each job
        self._lacks: list[dict[date, int]] = []  # columns by due date, for each job
        self._room, self._lifted = room, lifted
        for job, least in zip(jobs, at_least, strict=True):
            self._greens.append(self._add_batches(job, least))
            self._add_need(job, least, self._greens[-1], allocations)
        self._limit_green(jobs)
        self._limit_hours(jobs)

    def _add_batches(self, job: Job, least: int) -> list[int]:
        """Columns of the counts and of the green on each machine, with the charge limits; returns those of green."""
        counts, greens = {}, []
        for place, limit in enumerate(job.limits(self._room.machines)):
            if limit is None:
                continue
            low_g, high_g = 0 if "charge" in self._lifted else limit[0], limit[1]
            most = ceil(job.need.roasted_g / (high_g * _yield(job, 1))) + 1
            count, green = self._program.column(float(most), whole=True), self._program.column()
            self._program.row({green: 1.0, count: -float(low_g)}, low=0.0)
            self._program.row({green: 1.0, count: -float(high_g)}, high=0.0)
            counts[place] = count
            greens.append(green)
        self._program.row(dict.fromkeys(counts.values(), 1.0), low=float(least))
        self._counts.append(counts)
        return greens

    def _add_need(self, job: Job, least: int, greens: Sequence[int], allocations: Sequence[Allocation]) -> None:
        """Columns of what is lacking by each due date, and the row of the need."""
        wanted: dict[date, int] = {}
        for each in allocations:
            if each.order.product == job.product.id and each.to_roast_g:
                wanted[each.order.due] = wanted.get(each.order.due, 0) + each.to_roast_g
        met_g = sum(wanted.values()) - job.need.roasted_g  # what was roasted today is for those due first
        lacks = {}
        for due, grams in sorted(wanted.items()):
            if grams > met_g:
                lacks[due] = self._program.column(float(grams - met_g))
            met_g = max(0, met_g - grams)
        reached = _yield(job, least)
        terms = dict.fromkeys(greens, reached) | dict.fromkeys(lacks.values(), 1.0)
        self._program.row(terms, low=job.need.roasted_g - reached * sum(job.need.set_g))
        self._lacks.append(lacks)

    def _limit_green(self, jobs: Sequence[Job]) -> None:
        takes: dict[str, dict[int, float]] = {}
        for job, columns in zip(jobs, self._greens, strict=True):
            for each in job.product.shares:
                terms = takes.setdefault(each.lot, {})
                for green in columns:
                    terms[green] = terms.get(green, 0.0) + each.share
        for lot, terms in takes.items() if "green" not in self._lifted else ():
            users = sum(any(each.lot == lot for each in job.product.shares) for job in jobs)
            self._program.row(terms, high=max(0.0, self._room.green_g.get(lot, 0) - _ROUNDING_G * users))

    def _limit_hours(self, jobs: Sequence[Job]) -> None:
        for place, machine in enumerate(self._room.machines):
            if self._room.left_min[place] < inf and "time" not in self._lifted:
                terms = {
                    counts[place]: minutes(job.product, machine)
                    for job, counts in zip(jobs, self._counts, strict=True)
                    if place in counts
                }
                self._program.row(terms, high=self._room.left_min[place] + machine.between_min)

    def least(self, watch: Watch) -> _Least:
        """The shortage if those due first come first, with the fewest batches."""
        dues = sorted({due for lacks in self._lacks for due in lacks})
        goals = [Goal(f"lack by {due}", {lacks[due]: 1.0 for lacks in self._lacks if due in lacks}) for due in dues]
        goals.append(Goal("batches", {column: 1.0 for counts in self._counts for column in counts.values()}))
        return self._solved(goals, watch)

    def least_in_all(self, at_most_g: Sequence[float], watch: Watch) -> Sequence[float]:
        """The shortage if all together lack as little as can be, and none more than given. [g]"""
        for lacks, most_g in zip(self._lacks, at_most_g, strict=True):
            self._program.limit(dict.fromkeys(lacks.values(), 1.0), most_g)
        terms = {column: 1.0 for lacks in self._lacks for column in lacks.values()}
        return self._solved([Goal("lack", terms, gap=_REASON_GAP)], watch).lacks_g

    def _solved(self, goals: Sequence[Goal], watch: Watch) -> _Least:
        solution = solve(self._program, goals, watch, "shortage")
        if solution is None:  # no time: to roast nothing more is always possible
            lacks_g = [sum(self._program.upper[column] for column in lacks.values()) for lacks in self._lacks]
            none = [[0] * len(self._room.machines) for _ in self._lacks]
            return _Least(lacks_g, none, [0.0] * len(none), [Proof("lack", sum(lacks_g), 0.0)], False)
        values = solution.values
        lacks_g = [float(sum(values[column] for column in lacks.values())) for lacks in self._lacks]
        places = range(len(self._room.machines))
        return _Least(
            [lacking if lacking > _NOTHING_G else 0.0 for lacking in lacks_g],
            [[round(values[counts[place]]) if place in counts else 0 for place in places] for counts in self._counts],
            [float(sum(values[column] for column in greens)) for greens in self._greens],
            [proof for proof in solution.proofs if proof.goal != "batches"],
        )


def _roasted(job: Job, counts: Sequence[int], green_g: float, lacking_g: float, room: Room) -> int:
    """The grams that the model's batches give with the likelihood: at least as it thought, if full ones do. [g]"""
    limits = [limit or (0, 0) for limit in job.limits(room.machines)]
    low_g, high_g = (sum(n * limit[end] for n, limit in zip(counts, limits, strict=True)) for end in (0, 1))
    charges_g = even(counts, limits, min(max(floor(green_g + _TOLERANCE_G), low_g), high_g)).all_g
    likely_g, most_g = (
        roasted_with(job.need.loss, [*job.need.set_g, *some], job.need.likelihood)
        for some in (charges_g, _full(counts, job, room))
    )
    thought_g = job.need.roasted_g - ceil(lacking_g - _TOLERANCE_G)
    return min(job.need.roasted_g, most_g, max(likely_g, thought_g))


def _full(counts: Sequence[int], job: Job, room: Room) -> list[int]:
    """The largest charges of so many batches on each machine. [g]"""
    limits = job.limits(room.machines)
    return [limit[1] for limit, count in zip(limits, counts, strict=True) if limit for _ in range(count)]


def _alike(counts: Sequence[int], job: Job, room: Room) -> int:
    """Number of batches of one size whose losses average out as little as those of these batches."""
    charges_g = _full(counts, job, room)
    return floor(sum(charges_g) ** 2 / sum(charge**2 for charge in charges_g)) if charges_g else 0


def _yield(job: Job, batches: int) -> float:
    """Roasted share of the green that is reached with the likelihood, over at least so many batches."""
    set_g = job.need.set_g
    mean_g = sum(set_g) / len(set_g) if set_g else 1.0
    return likely_yield(job.need.loss, [*set_g, *[mean_g] * max(1, batches)], job.need.likelihood)
