"""Test read of one channel, for the machine setup page: raw data, value, or the reason for none."""

import itertools
import time
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Self

from roastlog.clock import Clock
from roastlog.errors import InstrumentError
from roastlog.instruments.base import ReadFault, Reading
from roastlog.instruments.build import PolledInstrument, build_instruments
from roastlog.languages import _
from roastlog.machine.model import Channel, Control, Machine
from roastlog.machine.rescaling import Rescaling, likely_rescalings

_LOOK_S = 0.1


@dataclass(frozen=True)
class Trial:
    """Result of a test read."""

    raw: str
    """Data as received, before scaling; empty without data."""
    value: float | None
    """°C with offset for a channel, the setting for a control; None if there is a reason."""
    reason: str
    """Reason for a missing value; empty if there is a value."""
    rescalings: Sequence[Rescaling] = ()
    """Other scales that would make an implausible value plausible; empty if it is plausible."""

    @classmethod
    def of(cls, part: Channel | Control, answer: Reading | ReadFault) -> Self:
        """The result of a channel or control that answered."""
        likely = () if answer.value is None else tuple(likely_rescalings(part, answer.value))
        if isinstance(answer, ReadFault):
            return cls(answer.raw, None, answer.reason, likely)
        offset_c = part.offset_c if isinstance(part, Channel) else 0.0
        return cls(answer.raw, round(answer.value + offset_c, 6), "", likely)


def try_channel(machine: Machine, name: str, clock: Clock | None = None, *, wait_s: float = 3.0) -> Trial:
    """Read one channel or control of a machine over a separate connection.

    Its cold junction is read too. Nothing is published. A serial port of a running machine is in use; read the
    machine's own links instead.

    Parameters
    ----------
    machine
        Its sheet; the machine need not be running.
    name
        Id of the channel or control.
    clock
        The server's clock; a new one by default.
    wait_s
        Timeout for the first reading of a pushing source. [s]
    """
    parts: list[Channel | Control] = [*machine.channels, *machine.controls]
    part = next((part for part in parts if part.id == name), None)
    if part is None:
        return Trial("", None, _("There is no channel {channel} on {machine}.", channel=name, machine=machine.name))
    single = _only(machine, part)
    links = build_instruments(single, clock or Clock())
    if not links:
        return Trial("", None, _("Drumside does not read {name}: {why}", name=part.name, why=_not_read(part)))
    with ExitStack() as stack:
        for instrument, _every_s in links:
            stack.callback(instrument.close)
        try:
            for instrument, _every_s in links:
                instrument.open()
            speaks = any(channel.mqtt or channel.serial for channel in single.channels)  # a pushing source
            answer = _answer(links, name, wait_s if speaks else 0.0)
        except InstrumentError as error:
            return Trial("", None, str(error))
    if answer is None:
        return Trial(
            "",
            None,
            _("The connection works, but no value for {name} came within {wait:g} s.", name=name, wait=wait_s),
        )
    return Trial.of(part, answer)


def _only(machine: Machine, part: Channel | Control) -> Machine:
    """The machine reduced to that part and its cold junction, without a status topic."""
    sensor = part.sensor if isinstance(part, Channel) else None
    wanted = {part.id} | ({sensor.cold_junction} if sensor is not None else set())
    channels = [
        channel.model_copy(update={"mqtt": channel.mqtt and channel.mqtt.model_copy(update={"status": None})})
        for channel in machine.channels
        if channel.id in wanted
    ]
    controls = [control for control in machine.controls if control.id in wanted]
    return machine.model_copy(update={"channels": tuple(channels), "controls": tuple(controls)})


def _answer(links: Sequence[PolledInstrument], name: str, wait_s: float) -> Reading | ReadFault | None:
    """The first reading of that name, or the last fault if none arrives in time."""
    until_s, last = time.monotonic() + wait_s, None
    for looks in itertools.count(1):
        for instrument, poll_s in links:
            for item in instrument.read(poll_s):
                if item.channel == name:
                    last = item
        # At least twice: a cold junction may be on a link that is read later.
        if isinstance(last, Reading) or (looks > 1 and time.monotonic() >= until_s):
            break
        time.sleep(_LOOK_S)
    return last


def _not_read(part: Channel | Control) -> str:
    if isinstance(part, Control):
        return _("it has no register.")
    return _("a person types it in.") if part.hand is not None else _("its readings are sent to the API.")
