"""Views of a machine for pages and figures: its name, channels, controls and bean channel."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self

from roastlog.machine.model import Channel, Control, Machine, bean_channel


@dataclass(frozen=True)
class ChannelView:
    """One measured channel. ``short`` is its short name; ``by_hand`` means that a person types its readings."""

    id: str
    name: str
    role: str
    short: str
    by_hand: bool = False

    @classmethod
    def of(cls, channel: Channel) -> Self:
        """A channel of a machine's sheet."""
        return cls(channel.id, channel.name, channel.role, channel.label, channel.source == "hand")

    @classmethod
    def of_column(cls, name: str) -> Self:
        """A column of a removed machine, with unknown role."""
        return cls(name, name, name, name)


@dataclass(frozen=True)
class ControlView:
    """One setting of the machine."""

    id: str
    name: str
    unit: str
    low: float
    high: float
    step: float
    decimals: int
    is_read: bool = False  # from the machine, so that nobody taps it

    @classmethod
    def of(cls, control: Control) -> Self:
        """A control of a machine's sheet."""
        return cls(
            control.id,
            control.name,
            control.unit,
            control.low,
            control.high,
            control.step,
            control.decimals,
            control.modbus is not None,
        )


@dataclass(frozen=True)
class MachineView:
    """A machine by its sheet. ``bean`` is the id of its bean channel. [g]"""

    id: str
    name: str
    batch_g: tuple[float, float]
    practice: bool
    bean: str

    @classmethod
    def of(cls, machine: Machine) -> Self:
        """A machine by its current sheet."""
        return cls(machine.id, machine.name, machine.batch_g, machine.practice, bean_channel(machine))


def channel_views(channels: Iterable[Channel]) -> tuple[ChannelView, ...]:
    """Channels of a sheet, in their order."""
    return tuple(map(ChannelView.of, channels))


def control_views(controls: Iterable[Control]) -> tuple[ControlView, ...]:
    """Controls of a sheet, in their order."""
    return tuple(map(ControlView.of, controls))
