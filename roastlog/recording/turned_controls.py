"""Controls that are read off the machine's own registers: how they stand, and which of them were turned."""

import threading
from collections.abc import Sequence
from typing import NamedTuple


class Turn(NamedTuple):
    """A control that was seen to change on the machine."""

    control: str
    setting: float
    at_ms: int


class TurnedControls:
    """The controls of one machine as its registers tell them; from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._settings: dict[str, float] = {}
        self._turns: list[Turn] = []

    @property
    def settings(self) -> dict[str, float]:
        """How each control that was read stands."""
        with self._lock:
            return dict(self._settings)

    def put(self, control: str, setting: float, at_ms: int) -> None:
        """Take in what a register said."""
        with self._lock:
            known = self._settings.get(control)
            self._settings[control] = setting
            if known != setting:  # the first time as well: it may have been turned while nobody read it
                self._turns.append(Turn(control, setting, at_ms))

    def take_turns(self) -> list[Turn]:
        """The turns that were seen since the last call."""
        with self._lock:
            turns, self._turns = self._turns, []
            return turns

    def give_back(self, turns: Sequence[Turn]) -> None:
        """Put turns back that could not be kept yet."""
        with self._lock:
            self._turns[:0] = turns

    def turn_all(self, at_ms: int) -> None:
        """Count every control as turned to where it stands. [ms UTC]"""
        with self._lock:
            self._turns += [Turn(control, setting, at_ms) for control, setting in self._settings.items()]
