"""The interface of every source of readings.

Instruments are read-only: this interface cannot set anything, and no driver may add a way to.
"""

from collections.abc import Collection, Sequence
from typing import NamedTuple, Protocol


class Reading(NamedTuple):
    """One measured value; for a control read off the machine, ``channel`` is the control's id."""

    at_ms: int  # UTC
    channel: str
    value: float  # °C for a channel, the control's own unit for a control
    raw: str = ""  # as received, before scaling; for the setup page


class ReadFault(NamedTuple):
    """The reason why one channel has no value while its link still answers."""

    at_ms: int  # UTC
    channel: str
    reason: str  # a plain sentence for the person at the machine
    raw: str = ""  # the data received instead
    value: float | None = None  # the number that was refused


class Instrument(Protocol):
    """A link to one instrument, with any number of channels and controls."""

    name: str
    """Display name of the link, such as ``modbus 127.0.0.1:502``."""

    def open(self) -> None:
        """Connect, or raise `roastlog.errors.InstrumentError`. Safe to call again after a loss."""

    def read(self, ids: Collection[str]) -> Sequence[Reading | ReadFault]:
        """Newest value of those channels and controls, or a fault for each that fails alone.

        A source that pushes returns all readings since the last call in time order, possibly none.

        Raises `roastlog.errors.InstrumentError` only when the whole link is lost, within its timeout.
        """

    def close(self) -> None:
        """Release the port. Never raises."""
