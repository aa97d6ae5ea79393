"""What every source of readings looks like, whatever the wire.

An instrument is only ever read: this interface has no way to set anything, and no driver may grow one.
"""

from collections.abc import Collection, Sequence
from typing import NamedTuple, Protocol


class Reading(NamedTuple):
    """One measured value; for a control read off the machine, ``channel`` is the control's id."""

    at_ms: int  # UTC
    channel: str
    value: float  # °C for a channel, the control's own unit for a control
    raw: str = ""  # as it came over the wire, before scaling, for the page where it is set up


class ReadFault(NamedTuple):
    """Why one channel gave no value this time, while its link as a whole still answers."""

    at_ms: int  # UTC
    channel: str
    reason: str  # a plain sentence for the person at the machine
    raw: str = ""  # what came instead


class Instrument(Protocol):
    """A link to one instrument, carrying any number of channels and controls."""

    name: str
    """What the link is called on the page, such as ``modbus 127.0.0.1:502``."""

    def open(self) -> None:
        """Connect, or raise `roastlog.errors.InstrumentError`. Safe to call again after a loss."""

    def read(self, ids: Collection[str]) -> Sequence[Reading | ReadFault]:
        """Newest value of those channels and controls, or the fault of those that alone fail.

        A source that speaks by itself gives all that came since the last call, in the order of time; that may be
        nothing.

        Raises `roastlog.errors.InstrumentError` only when the link as a whole is lost, within its timeout.
        """

    def close(self) -> None:
        """Let go of the port. Never raises."""
