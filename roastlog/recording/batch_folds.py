"""The batches of one write: each is read once, and folded only where its state is needed."""

from roastlog.journal.entries import Entry
from roastlog.journal.fold import Batch, fold
from roastlog.journal.kinds import corrects
from roastlog.store import journal as stored
from roastlog.store import projections
from roastlog.store.store import Database


class BatchFolds:
    """Batches within one write. `keep` updates their projections, once for all new entries."""

    def __init__(self, db: Database) -> None:
        self._db = db
        self._entries: dict[str, list[Entry]] = {}
        self._folded: dict[str, Batch] = {}
        self._changed: set[str] = set()
        self._targets: dict[str, tuple[bool, frozenset[str]]] = {}

    def folded(self, code: str) -> Batch:
        """A batch with all entries added so far."""
        if code not in self._folded:
            self._folded[code] = fold(self._known(code), code)
        return self._folded[code]

    def add(self, entry: Entry, code: str) -> None:
        """Store an entry of a batch."""
        self._known(code).append(entry)
        stored.add_entry(self._db, entry)
        self._folded.pop(code, None)
        self._targets.pop(code, None)
        self._changed.add(code)

    def is_plain(self, entry: Entry, code: str) -> bool:
        """Whether no other entry of the batch can make this one late, doubled, shifted or out of order."""
        if code not in self._targets:
            known = self._known(code)
            targets = frozenset(str(one.body["entry"]) for one in known if corrects(one.kind))
            self._targets[code] = any(one.kind == "released" for one in known), targets
        is_released, targets = self._targets[code]
        return not (entry.kind == "moment" or corrects(entry.kind) or is_released or str(entry.id) in targets)

    def keep(self) -> None:
        """Update the projections of the batches that got entries."""
        for code in sorted(self._changed):
            self._folded[code] = projections.refresh_batch(self._db, code, self._known(code))
        self._changed.clear()

    def _known(self, code: str) -> list[Entry]:
        if code not in self._entries:
            self._entries[code] = stored.entries_of(self._db.conn, code)
        return self._entries[code]
