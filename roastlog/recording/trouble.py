"""Recording trouble other than a lost link: the disk refuses writes, or senders have fallen silent."""

from collections.abc import Iterable
from typing import Final

from roastlog.clock import Clock
from roastlog.languages import N_
from roastlog.recording.live_machine import LiveMachine
from roastlog.recording.readers import LinkState
from roastlog.store.store import Store

FULL: Final = N_("The disk accepts no readings. They stay in memory until it does; see Today for the reason.")
SILENT: Final = N_("No reading for more than 5 s. Is the sender on? Taps are saved with their times.")
SILENT_MS: Final = 5_000  # in real time, however fast a demo's clock runs


def recording_trouble(store: Store, live: LiveMachine, links: Iterable[LinkState], clock: Clock) -> str:
    """The recording trouble of a machine as a sentence; empty without any, or where a lost link explains it."""
    if store.failing:
        return FULL
    lost = any(link.state == "lost" for link in links)
    return SILENT if not lost and _is_silent(live, clock) else ""


def _is_silent(live: LiveMachine, clock: Clock) -> bool:
    """Whether a machine with a batch in the drum has sent no reading for `SILENT_MS`."""
    if live.batch is None or live.batch.state != "roasting" or live.last_reading_ms is None:
        return False
    if all(channel.source == "hand" for channel in live.machine.channels):
        return False  # a person types a reading only now and then
    return (clock.now_ms() - live.last_reading_ms) / clock.rate > SILENT_MS
