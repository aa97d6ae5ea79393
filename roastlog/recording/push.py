"""Readings pushed to the API: each is checked on its own, and a refused one gets a reason."""

import math
from dataclasses import dataclass
from typing import Final

from roastlog.clock import Clock
from roastlog.errors import ReadingsRefused
from roastlog.instruments.base import Reading
from roastlog.instruments.converted import MAX_TEMP_C
from roastlog.languages import _
from roastlog.recording.live_machine import LiveMachine

MOST: Final = 5000
AHEAD_MS: Final = 5_000
BEHIND_MS: Final = 86_400_000
LIVE_MS: Final = 3_000
LATEST_MS: Final = 2**53  # beyond it, whole numbers in JSON lose precision


@dataclass(frozen=True)
class RefusedReading:
    """A refused reading: its index in the payload, from 0, and the reason."""

    index: int
    reason: str


@dataclass(frozen=True)
class Pushed:
    """Number of readings accepted, number of those too late to be shown live, and the refused ones."""

    accepted: int
    late: int
    refused: list[RefusedReading]


def take_push(live: LiveMachine, payload: object, clock: Clock) -> Pushed:
    """Accept ``{"readings": [{"at_ms"?, "channel", "value"}]}``.

    The limits on early and late readings are in real time: transfer takes as long however fast a demo's clock runs.

    Raises
    ------
    ReadingsRefused
        If the payload as a whole does not have that form.
    """
    readings = payload.get("readings") if isinstance(payload, dict) else None
    if not isinstance(readings, list):
        raise ReadingsRefused(_('Send a JSON object {"readings": [{"channel": …, "value": …}]}.'))
    if len(readings) > MOST:
        raise ReadingsRefused(
            _("Send at most {most} readings at once; these are {readings}.", most=MOST, readings=len(readings))
        )
    by_hand = {channel.id for channel in live.machine.channels if channel.source == "hand"}
    pushed = by_hand | {channel.id for channel in live.machine.channels if channel.source == "http"}
    now_ms = clock.now_ms()
    ahead_ms, live_ms = now_ms + AHEAD_MS * clock.rate, now_ms - LIVE_MS * clock.rate
    taken: list[Reading] = []
    refused: list[RefusedReading] = []
    for index, raw in enumerate(readings):
        found = _reading(raw, live, pushed, now_ms, ahead_ms)
        if isinstance(found, Reading):
            taken.append(found)
        else:
            refused.append(RefusedReading(index, found))
    taken.sort(key=lambda reading: reading.at_ms)  # stable: of two at one instant the later in the payload wins
    # A typed reading arrives seconds after its time, when the row of that second has already been sent.
    fresh: list[Reading] = []
    late: list[Reading] = []
    for reading in taken:
        (fresh if reading.at_ms >= live_ms and reading.channel not in by_hand else late).append(reading)
    live.take_late(late)
    if fresh:
        live.take(fresh)
    return Pushed(len(taken), len(late), refused)


def _reading(raw: object, live: LiveMachine, pushed: set[str], now_ms: int, ahead_ms: float) -> Reading | str:
    if not isinstance(raw, dict) or not set(raw) <= {"at_ms", "channel", "value"}:
        return _("A reading is an object with channel, value and, where it is known, at_ms; nothing else.")
    channel, value, at_ms = raw.get("channel"), raw.get("value"), raw.get("at_ms", now_ms)
    there = [known.id for known in live.machine.channels]
    if channel not in there:
        return _(
            "There is no channel “{channel}” on {name}; there is {there}.",
            channel=channel,
            name=live.machine.name,
            there=", ".join(there),
        )
    if channel not in pushed:
        return _(
            "Channel {channel} is read from its own instrument and accepts no sent or typed readings.",
            channel=channel,
        )
    if isinstance(value, bool) or not isinstance(value, int | float):
        return _("The value of {channel} is not a number.", channel=channel)
    if abs(value) > MAX_TEMP_C or not math.isfinite(value):  # in this order: isfinite overflows on a huge integer
        return _(
            "Temperature must be within ±{absurd_c:.0f} °C, not {value}.",
            value=value,
            absurd_c=MAX_TEMP_C,
        )
    if isinstance(at_ms, bool) or not isinstance(at_ms, int) or abs(at_ms) > LATEST_MS:
        return _("at_ms is a whole number of milliseconds since 1970, UTC.")
    if at_ms > ahead_ms:
        return _(
            "at_ms is {now:.0f} s ahead of the server's clock; get the time from /api/clock.",
            now=(at_ms - now_ms) / 1000,
        )
    if at_ms < now_ms - BEHIND_MS:
        return _("The time (at_ms) is more than a day old.")
    return Reading(at_ms, channel, float(value))
