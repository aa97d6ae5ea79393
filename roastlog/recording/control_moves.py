"""A control that was turned on the machine itself is a move of the batch in it."""

from typing import Final
from uuid import UUID, uuid5

from roastlog.errors import StoreError
from roastlog.journal.vocabulary import UNDER_WAY
from roastlog.recording.entry_service import EntryService, Speaker
from roastlog.recording.live_machine import LiveMachine
from roastlog.recording.turned_controls import Turn

NAMESPACE: Final = UUID("5c1c8f4e-6f0e-4a53-9a5e-3d2b7a9c1f10")  # of moves read off machines; drawn once at random


def keep_moves(live: LiveMachine, entry_service: EntryService) -> None:
    """Make entries of the turns that were seen; raises StoreError where the disk refuses, and holds them then."""
    turns, batch = live.controls.take_turns(), live.batch
    if batch is None or batch.state not in UNDER_WAY or batch.code is None or batch.opened is None:
        return
    settings, moved = dict(batch.settings), []
    for turn in turns:
        # What was turned before the batch was opened is in the settings that it began with.
        if settings.get(turn.control) != turn.setting and turn.at_ms >= batch.opened.received_ms:
            settings[turn.control] = turn.setting
            moved.append(_move(batch.code, live.machine.id, turn))
    if moved:
        try:
            entry_service.accept(moved, Speaker(live.machine.id))
        except StoreError:
            live.controls.give_back(turns)  # they are moves all the same when the disk returns
            raise


def _move(code: str, machine_id: str, turn: Turn) -> dict[str, object]:
    """A turn as the entry that the machine makes of it."""
    return {
        "id": str(uuid5(NAMESPACE, f"{code} {turn.control} {turn.at_ms}")),
        "machine": machine_id,
        "batch": code,
        "kind": "move",
        "at_ms": turn.at_ms,
        "body": {"control": turn.control, "setting": turn.setting},
    }
