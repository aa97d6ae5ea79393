"""The batches of one write, folded with the entries that it has added so far."""

from roastlog.journal.entries import Entry
from roastlog.journal.fold import Batch
from roastlog.roasts.kept_folds import KeptFolds
from roastlog.store import journal as stored
from roastlog.store import projections
from roastlog.store.store import Database


class BatchFolds:
    """Batches within one write. `keep` updates their projections, once for all new entries."""

    def __init__(self, db: Database, kept: KeptFolds) -> None:
        self._db, self._kept = db, kept
        self._changed: set[str] = set()

    def folded(self, code: str) -> Batch:
        """A batch with all entries added so far."""
        return self._kept.read(self._db.conn, code)

    def add(self, entry: Entry, code: str) -> None:
        """Store an entry of a batch."""
        stored.add_entry(self._db, entry)
        self._changed.add(code)

    def keep(self) -> None:
        """Update the projections of the batches that got entries."""
        for code in sorted(self._changed):
            projections.refresh_batch(self._db, code, self.folded(code))
        self._changed.clear()
