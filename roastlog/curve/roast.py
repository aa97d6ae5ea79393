"""A roast as the numbers see it: one bean curve, its moments and its moves, whole or so far."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from roastlog.errors import CurveError


class Move(NamedTuple):
    """A control set to a value at a time. [s from charge], the control's own unit"""

    time_s: float
    control: str
    setting: float


@dataclass(frozen=True, eq=False)
class Roast:
    """One roast from charge on, at one row a second.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Time since charge, increasing. [s]
    temp_c : ndarray, shape (n,)
        Bean probe; NaN is a gap. [°C]
    rate_c_per_min : ndarray, shape (n,)
        Its rate of rise, live or after the drop, as the one who made it says; NaN where it is not known. [°C/min]
    moments_s : mapping of str to float
        Moments by name, as the person marked them. [s from charge]
    moves : sequence of Move
        The settings at charge first, at time 0 or before, then each move in the order of their times.
    green_g : float or None
        Mass of the charge. [g]
    surface_c : ndarray, shape (n,), or None
        Bean surface by infrared; None where there is no such sensor. [°C]
    name : str
        What to call it: a batch code, or nothing.

    Raises
    ------
    CurveError
        If a column has not the length of ``time_s``.
    """

    time_s: NDArray[np.float64]
    temp_c: NDArray[np.float64]
    rate_c_per_min: NDArray[np.float64]
    moments_s: Mapping[str, float] = field(default_factory=dict)
    moves: Sequence[Move] = ()
    green_g: float | None = None
    surface_c: NDArray[np.float64] | None = None
    name: str = ""

    def __post_init__(self) -> None:
        """Refuse ragged columns."""
        columns = [self.temp_c, self.rate_c_per_min, *([] if self.surface_c is None else [self.surface_c])]
        if self.time_s.ndim != 1 or any(column.shape != self.time_s.shape for column in columns):
            raise CurveError("The columns of a roast must be of one length.")

    def upto(self, time_s: float) -> "Roast":
        """The roast as it was known at a time: no row, moment or move after it. [s from charge]"""
        n = int(np.searchsorted(self.time_s, time_s, side="right"))
        return Roast(
            self.time_s[:n],
            self.temp_c[:n],
            self.rate_c_per_min[:n],
            {name: at_s for name, at_s in self.moments_s.items() if at_s <= time_s},
            tuple(move for move in self.moves if move.time_s <= time_s),
            self.green_g,
            None if self.surface_c is None else self.surface_c[:n],
            self.name,
        )
