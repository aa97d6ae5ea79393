"""The journal: entries accepted, and read from a number on."""

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from roastlog.clock import Clock
from roastlog.journal.entries import By, parse_entry
from roastlog.journal.fold import Batch, fold
from roastlog.journal.regrouping import Raw, merge, split
from roastlog.recording.entry_service import Result, Speaker
from roastlog.recording.runtime import Runtime
from roastlog.store import journal as stored
from roastlog.store import projections
from roastlog.store import readings as stored_readings
from roastlog.store.store import Database, Store

__all__ = ["JournalService", "Result", "Speaker"]


class JournalService:
    """Accepts entries from pages and programs, and returns the entries that a page missed."""

    def __init__(self, store: Store, clock: Clock, runtime: Runtime) -> None:
        self._store, self._clock, self._runtime = store, clock, runtime

    def accept(self, raws: Sequence[object], speaker: Speaker = Speaker()) -> list[Result]:  # noqa: B008
        """Store entries; see `roastlog.recording.entry_service.EntryService.accept`."""
        return self._runtime.entry_service.accept(raws, speaker)

    def split(self, code: str, joined: UUID, speaker: Speaker) -> str:
        """Split off the batch of an opening that was joined to another one; returns its code. Raises EntryRefused."""

        def made(db: Database) -> list[Raw]:
            return split(_batch(db, code), joined, self._clock.now_ms(), _by(speaker))

        return str(self._runtime.entry_service.regroup(made, speaker)[0].batch)

    def merge(self, code: str, into: str, speaker: Speaker) -> None:
        """Merge a batch into another one of its machine. Raises EntryRefused."""

        def made(db: Database) -> list[Raw]:
            return merge(_batch(db, code), _batch(db, into), self._clock.now_ms(), _by(speaker))

        self._runtime.entry_service.regroup(made, speaker)

    def entries_after(self, machine_id: str, seq: int) -> tuple[list[Mapping[str, object]], int]:
        """Entries of a machine's batches after ``seq``, and the number of the last; raises NoSuchMachine."""
        self._runtime.live(machine_id)
        found = stored.entries_after(self._store.read, machine_id, seq)
        return [entry.numbered(number) for number, entry in found], found[-1][0] if found else seq

    def import_batch(self, raws: Sequence[Mapping[str, Any]], rows: Sequence[stored_readings.ReadingRow]) -> str:
        """Store a whole batch from elsewhere, its `opened` entry first, with its readings; returns its code."""
        opened, *rest = [parse_entry(dict(raw), received_ms=raw["at_ms"]) for raw in raws]

        def change(db: Database) -> str:
            stored_readings.add_rows(db, str(opened.machine), rows)
            return projections.add_many(db, [(opened, rest)])[0]

        return self._store.write(change)


def _batch(db: Database, code: str) -> Batch:
    return fold(stored.entries_of(db.conn, code), code)


def _by(speaker: Speaker) -> By:
    return By(person=speaker.person, device=speaker.device)
