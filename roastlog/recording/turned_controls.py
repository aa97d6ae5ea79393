"""Controls read from the machine's registers: their settings, and turns made on the machine."""

import threading
from collections.abc import Sequence
from typing import NamedTuple


class Turn(NamedTuple):
    """A change of a control, made on the machine. [ms UTC]"""

    control: str
    setting: float
    at_ms: int


class TurnedControls:
    """The controls of one machine as read from its registers. Thread-safe."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._settings: dict[str, float] = {}
        self._turns: list[Turn] = []

    @property
    def settings(self) -> dict[str, float]:
        """Setting of each control that was read."""
        with self._lock:
            return dict(self._settings)

    def put(self, control: str, setting: float, at_ms: int) -> None:
        """Add a control's setting as read. [ms UTC]"""
        with self._lock:
            known = self._settings.get(control)
            self._settings[control] = setting
            if known != setting:  # also the first time: it may have been turned before reading began
                self._turns.append(Turn(control, setting, at_ms))

    def take_turns(self) -> list[Turn]:
        """Return and clear the turns seen since the last call."""
        with self._lock:
            turns, self._turns = self._turns, []
            return turns

    def give_back(self, turns: Sequence[Turn]) -> None:
        """Put back turns that could not be stored."""
        with self._lock:
            self._turns[:0] = turns

    def turn_all(self, at_ms: int) -> None:
        """Count every control as turned to its present setting. [ms UTC]"""
        with self._lock:
            self._turns += [Turn(control, setting, at_ms) for control, setting in self._settings.items()]
