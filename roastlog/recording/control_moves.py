"""Moves from controls that were turned on the machine itself."""

import logging
from typing import Final
from uuid import UUID, uuid5

from roastlog.errors import StoreError
from roastlog.journal.vocabulary import UNDER_WAY
from roastlog.recording.entry_service import EntryService, Speaker
from roastlog.recording.live_machine import LiveMachine
from roastlog.recording.turned_controls import Turn

log = logging.getLogger(__name__)
NAMESPACE: Final = UUID("5c1c8f4e-6f0e-4a53-9a5e-3d2b7a9c1f10")  # of moves read from machines; random, fixed


def keep_moves(live: LiveMachine, entry_service: EntryService) -> None:
    """Store the turns seen as moves of the batch; on StoreError they are held for the next call."""
    turns, batch = live.controls.take_turns(), live.batch
    if batch is None or batch.state not in UNDER_WAY or batch.code is None or batch.opened is None:
        return
    settings, moved = dict(batch.settings), []
    for turn in turns:
        # A turn before the batch was opened is already in its first settings.
        if settings.get(turn.control) != turn.setting and turn.at_ms >= batch.opened.received_ms:
            settings[turn.control] = turn.setting
            moved.append(_move(batch.code, live.machine.id, turn))
    if moved:
        try:
            results = entry_service.accept(moved, Speaker(live.machine.id))
        except StoreError:
            live.controls.give_back(turns)  # they are stored when the disk returns
            raise
        for result in results:
            if result.status == "refused":  # sending it again would not help
                log.warning("A move read from %s is not in the journal: %s", live.machine.name, result.reason)


def _move(code: str, machine_id: str, turn: Turn) -> dict[str, object]:
    """A turn as an entry of the machine."""
    return {
        "id": str(uuid5(NAMESPACE, f"{code} {turn.control} {turn.at_ms}")),
        "machine": machine_id,
        "batch": code,
        "kind": "move",
        "at_ms": turn.at_ms,
        "body": {"control": turn.control, "setting": turn.setting},
    }
