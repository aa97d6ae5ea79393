"""Numeric data of a roast: one bean curve, its moments and its moves, whole or so far."""

import math
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


def setting_at(moves: Sequence[Move], control: str, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """The setting of a control in force at each time, by moves in time order; NaN before the first. [s from charge]"""
    own = [move for move in moves if move.control == control]
    settings = np.array([math.nan, *(move.setting for move in own)])
    return settings[np.searchsorted([move.time_s for move in own], time_s, side="right")]


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
        Its rate of rise, live or smoothed, as the caller computed it; NaN where unknown. [°C/min]
    moments_s : mapping of str to float
        Moments by name, as a person marked them. [s from charge]
    moves : sequence of Move
        The settings at charge (time 0 or before) first, then each move in time order.
    green_g : float or None
        Mass of the charge. [g]
    surface_c : ndarray, shape (n,), or None
        Bean surface by infrared; None if there is no such sensor. [°C]
    name : str
        Display name: a batch code, or empty.

    Raises
    ------
    CurveError
        If a column's length differs from that of ``time_s``.
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
        """Reject columns of different lengths."""
        columns = [self.temp_c, self.rate_c_per_min, *([] if self.surface_c is None else [self.surface_c])]
        if self.time_s.ndim != 1 or any(column.shape != self.time_s.shape for column in columns):
            raise CurveError("The columns of a roast must have the same length.")

    def upto(self, time_s: float) -> "Roast":
        """The roast up to a time: no row, moment or move after it. [s from charge]"""
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
