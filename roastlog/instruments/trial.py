"""One channel tried out, for the page where a machine is set up: what comes, what it means, or why nothing does."""

import itertools
import time
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass

from roastlog.clock import Clock
from roastlog.errors import InstrumentError
from roastlog.instruments.base import ReadFault, Reading
from roastlog.instruments.build import PolledInstrument, build_instruments
from roastlog.languages import _
from roastlog.machine.model import Channel, Control, Machine

_LOOK_S = 0.1


@dataclass(frozen=True)
class Trial:
    """What came of it."""

    raw: str
    """As it came over the wire, before scaling; empty when nothing came."""
    value: float | None
    """What it means: °C for a channel, with its offset; the setting for a control. None when there is a reason."""
    reason: str
    """Why there is no value, in plain words; empty when there is one."""


def try_channel(machine: Machine, name: str, clock: Clock | None = None, *, wait_s: float = 3.0) -> Trial:
    """Read one channel or control of a machine over a connection of its own.

    Its cold junction is read with it. Nothing is published. A serial port that the recorder is reading is in use: for a
    machine that runs, what its links say is the better answer.

    Parameters
    ----------
    machine
        Its sheet; it need not be one that runs.
    name
        Id of the channel or control.
    clock
        The server's; one of its own when not given.
    wait_s
        How long a source that speaks by itself may take to say something. [s]
    """
    parts: list[Channel | Control] = [*machine.channels, *machine.controls]
    part = next((part for part in parts if part.id == name), None)
    if part is None:
        return Trial("", None, _("There is no channel {channel} on {machine}.", channel=name, machine=machine.name))
    alone = _alone(machine, part)
    links = build_instruments(alone, clock or Clock())
    if not links:
        return Trial("", None, _("{name} is not read by us: {why}", name=part.name, why=_not_read(part)))
    with ExitStack() as stack:
        for instrument, _every_s in links:
            stack.callback(instrument.close)
        try:
            for instrument, _every_s in links:
                instrument.open()
            speaks = any(channel.mqtt or channel.serial for channel in alone.channels)  # by itself, when it likes
            answer = _answer(links, name, wait_s if speaks else 0.0)
        except InstrumentError as error:
            return Trial("", None, str(error))
    if answer is None:
        return Trial(
            "",
            None,
            _("The connection is good, but nothing came for {name} within {wait:g} s.", name=name, wait=wait_s),
        )
    if isinstance(answer, ReadFault):
        return Trial(answer.raw, None, answer.reason)
    offset_c = part.offset_c if isinstance(part, Channel) else 0.0
    return Trial(answer.raw, round(answer.value + offset_c, 6), "")


def _alone(machine: Machine, part: Channel | Control) -> Machine:
    """The machine with nothing but that part and its cold junction, and without a word to a broker."""
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
    """The first reading of that name; the last fault when none came in time."""
    until_s, last = time.monotonic() + wait_s, None
    for looks in itertools.count(1):
        for instrument, poll_s in links:
            for item in instrument.read(poll_s):
                if item.channel == name:
                    last = item
        # Twice at least: a cold junction may be on the link that was read after.
        if isinstance(last, Reading) or (looks > 1 and time.monotonic() >= until_s):
            break
        time.sleep(_LOOK_S)
    return last


def _not_read(part: Channel | Control) -> str:
    if isinstance(part, Control):
        return _("it has no register.")
    return _("a person types it in.") if part.hand is not None else _("its readings are sent to the API.")
