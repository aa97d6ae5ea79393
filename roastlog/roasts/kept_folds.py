"""Batches kept folded: entries are read and folded as they come in, not all of a batch again for each of them."""

import threading
from typing import Final

from roastlog.journal.fold import Batch, BatchFold
from roastlog.store import journal as stored
from roastlog.store.store import Connection

MOST_KEPT: Final = 64  # those in the drums, those that are weighed and released, the earlier ones of a coffee


class KeptFolds:
    """The batches that were read last, kept folded. Any thread may read."""

    def __init__(self) -> None:
        self._kept: dict[str, _KeptFold] = {}  # the one read last at the end
        self._lock = threading.Lock()

    def read(self, connection: Connection, code: str) -> Batch:
        """A batch with all its entries that the connection sees; without any if there is no such batch."""
        with self._lock:
            kept = self._kept.pop(code, None) or _KeptFold(code)
            self._kept[code] = kept
            if len(self._kept) > MOST_KEPT:
                del self._kept[next(iter(self._kept))]
        return kept.read(connection)

    def forget(self) -> None:
        """Forget all, since they may hold entries that were not committed."""
        with self._lock:
            self._kept.clear()


class _KeptFold:
    """One batch, kept folded."""

    def __init__(self, code: str) -> None:
        self._code = code
        self._erasures, self._seq = 0, 0
        self._fold = BatchFold(code)
        self._lock = threading.Lock()

    def read(self, connection: Connection) -> Batch:
        """The batch with all entries that the connection sees."""
        with self._lock:
            erasures = stored.erasures(connection)
            if erasures != self._erasures:  # a name is gone from entries that were read
                self._erasures, self._seq = erasures, 0
                self._fold = BatchFold(self._code)
            fresh = stored.entries_since(connection, self._code, self._seq)
            if fresh:
                self._seq = fresh[-1][0]
                self._fold.add(entry for _, entry in fresh)
            return self._fold.batch
