"""The journal: entries accepted, and read from a number on."""

from collections.abc import Mapping, Sequence
from typing import Any

from roastlog.journal.entries import parse_entry
from roastlog.recording.entry_service import Result, Speaker
from roastlog.recording.runtime import Runtime
from roastlog.store import journal as stored
from roastlog.store import projections
from roastlog.store import readings as stored_readings
from roastlog.store.store import Database, Store

__all__ = ["JournalService", "Result", "Speaker"]


class JournalService:
    """Accepts entries from pages and programs, and returns the entries that a page missed."""

    def __init__(self, store: Store, runtime: Runtime) -> None:
        self._store, self._runtime = store, runtime

    def accept(self, raws: Sequence[object], speaker: Speaker = Speaker()) -> list[Result]:  # noqa: B008
        """Store entries; see `roastlog.recording.entry_service.EntryService.accept`."""
        return self._runtime.entry_service.accept(raws, speaker)

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
