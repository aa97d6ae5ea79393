"""Integer programs with several goals, one after the other: each is as good as can be before the next one counts.

A program is solved by scipy's HiGHS, which cannot be interrupted: each call is limited to `SLICE_S`, and between the
calls the watch is asked whether to go on. A call that found a solution but no proof in its time states its bound. The
same program has the same solution unless a call ran out of its time.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roastlog.trace.plan.watch import Watch

SLICE_S = 0.5  # of one call; a cancel takes effect within it [our choice]
_INFEASIBLE, _FAILED = 2, 4  # scipy's status
_HALF = 0.5  # whole numbers are the same if they differ by less
_TOLERANCE = 0.01  # of others, grams or minutes: far above the solver's own


@dataclass
class Program:
    """An integer program: columns with their bounds, and rows with theirs, built up one by one."""

    upper: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    rows: list[dict[int, float]] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def column(self, upper: float = inf, *, whole: bool = False) -> int:
        """Add a variable from 0 to ``upper``; returns its number."""
        self.upper.append(upper)
        self.whole.append(whole)
        return len(self.upper) - 1

    def row(self, terms: dict[int, float], low: float = -inf, high: float = inf) -> None:
        """Add a row: the sum of the terms is within the two."""
        self.rows.append(terms)
        self.low.append(low)
        self.high.append(high)

    def limit(self, terms: dict[int, float], most: float) -> None:
        """Keep a sum of terms, all of them 0 or more, at this value or below."""
        if most < _TOLERANCE:  # a bound of a column is simpler to solve than a row
            for column in (column for column, cost in terms.items() if cost):
                self.upper[column] = 0.0
        else:
            whole = all(self.whole[column] and cost == round(cost) for column, cost in terms.items())
            self.row(terms, high=most + (_HALF if whole else _TOLERANCE))

    def costs(self, terms: dict[int, float]) -> NDArray[np.float64]:
        """Costs of all columns, 0 for those without a term."""
        found = np.zeros(len(self.upper))
        found[list(terms)] = list(terms.values())
        return found


@dataclass(frozen=True)
class Goal:
    """Something to make as small as can be, never below 0. ``gap`` is the share of it that need not be proven."""

    name: str
    terms: dict[int, float]
    gap: float = 0.0


@dataclass(frozen=True)
class Proof:
    """How small a goal was made, and the bound below which no plan can make it after the goals before it."""

    goal: str
    value: float
    bound: float

    @property
    def proven(self) -> bool:
        """Whether the value is the smallest one, to the ten-thousandth."""
        return self.value - self.bound <= max(1e-4 * abs(self.value), 1e-6)


@dataclass(frozen=True)
class Solution:
    """Values of all columns, and a proof for each goal."""

    values: NDArray[np.float64]
    proofs: Sequence[Proof]


def solve(program: Program, goals: Sequence[Goal], watch: Watch, step: str) -> Solution | None:
    """Smallest values of the goals, each under those before it.

    None if no values satisfy all rows, or none were found in time.

    Raises
    ------
    PlanCancelled
        If the planning was cancelled meanwhile; at most one `SLICE_S` late.
    """
    values: NDArray[np.float64] | None = None
    proofs: list[Proof] = []
    for number, goal in enumerate(goals):
        watch.at(step, number / len(goals))
        costs = program.costs(goal.terms)
        result = _call(program, costs, goal.gap)
        if result.status == _FAILED or (result.status == _INFEASIBLE and values is not None):
            # HiGHS 1.12 fails on some programs in its presolve, or takes those for infeasible that have a solution.
            watch.at(step, number / len(goals))
            result = _call(program, costs, goal.gap, presolve=False)
        if result.x is not None:
            values = np.where(program.whole, np.round(result.x), result.x)
        if values is None:
            return None
        value = float(costs @ values)
        bound = None if result.status == _INFEASIBLE else result.mip_dual_bound
        proofs.append(Proof(goal.name, value, 0.0 if bound is None else min(value, max(0.0, float(bound)))))
        program.limit(goal.terms, value)
    return None if values is None else Solution(values, proofs)


def _call(program: Program, costs: NDArray[np.float64], gap: float, *, presolve: bool = True) -> Any:  # noqa: ANN401 - untyped
    from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415 - slow, and only a plan needs them
    from scipy.sparse import csr_array  # noqa: PLC0415 - see above

    places = [(number, column, cost) for number, row in enumerate(program.rows) for column, cost in row.items()]
    numbers, columns, entries = zip(*places, strict=True) if places else ((), (), ())
    matrix = csr_array((entries, (numbers, columns)), shape=(len(program.rows), len(program.upper)))
    return milp(
        costs,
        integrality=np.array(program.whole, dtype=int),
        bounds=Bounds(np.zeros(len(program.upper)), np.array(program.upper)),
        constraints=LinearConstraint(matrix, np.array(program.low), np.array(program.high)),
        options={"time_limit": SLICE_S, "mip_rel_gap": gap, "presolve": presolve},
    )
