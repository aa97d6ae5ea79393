"""Doubt of a reading that jumped, for lines without a checksum: a garbled digit is a number too."""

from roastlog.curve.faults.probe import most_change_c
from roastlog.instruments.base import Reading


class Doubt:
    """Readings of one channel, of which one that jumped waits until the next agrees with it."""

    def __init__(self) -> None:
        self._last: Reading | None = None
        self._held: Reading | None = None

    def passed(self, reading: Reading) -> list[Reading]:
        """The readings that count now, in their order: none, this one, or the one that waited and this one."""
        held, self._held = self._held, None
        if self._last is None or _agree(self._last, reading):
            passed = [reading]
        elif held is not None and _agree(held, reading):
            passed = [held, reading]
        else:
            self._held = reading
            return []
        self._last = reading
        return passed


def _agree(first: Reading, second: Reading) -> bool:
    return abs(second.value - first.value) <= most_change_c((second.at_ms - first.at_ms) / 1000)
