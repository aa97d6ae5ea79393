"""Batches kept folded: entries are read and folded as they come in, not all of a batch again for each of them."""

from typing import Final

from roastlog.journal.entries import Entry
from roastlog.journal.fold import Batch, BatchFold
from roastlog.store import journal as stored
from roastlog.store import projections
from roastlog.store.store import Connection, Database

MOST_KEPT: Final = 16  # batches; entries come for the one in the drum and the few that are weighed and released


class KeptFold:
    """One batch, kept folded, for one thread at a time."""

    def __init__(self, code: str) -> None:
        self.code = code
        self._erasures, self._seq = 0, 0
        self._fold = BatchFold(code)

    def read(self, connection: Connection) -> Batch:
        """The batch with all entries that the connection sees."""
        erasures = stored.erasures(connection)
        if erasures != self._erasures:  # a name is gone from entries that were read
            self._erasures, self._seq = erasures, 0
            self._fold = BatchFold(self.code)
        fresh = stored.entries_since(connection, self.code, self._seq)
        if fresh:
            self._seq = fresh[-1][0]
            self._fold.add(entry for _, entry in fresh)
        return self._fold.batch


class KeptFolds:
    """The batches that the writer keeps folded: those that got entries last."""

    def __init__(self) -> None:
        self._kept: dict[str, KeptFold] = {}  # the one used last at the end

    def read(self, connection: Connection, code: str) -> Batch:
        """A batch with all its entries."""
        kept = self._kept.pop(code, None) or KeptFold(code)
        self._kept[code] = kept
        if len(self._kept) > MOST_KEPT:
            del self._kept[next(iter(self._kept))]
        return kept.read(connection)

    def forget(self) -> None:
        """Forget all, since they may hold entries that were not committed."""
        self._kept.clear()


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
