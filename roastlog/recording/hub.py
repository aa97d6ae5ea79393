"""Who watches a machine, and what they are told.

Watchers share one newest snapshot: a slow phone skips readings, never holds up the others, and nothing queues for it.
Journal entries and chart rows are kept for a while, so that a watcher that looks away for seconds still gets them all.
"""

import json
import threading
import time
from collections import deque
from collections.abc import Iterator, Sequence
from itertools import takewhile
from typing import Final, NamedTuple, TypeVar

from roastlog.jsonable import jsonable
from roastlog.languages import SOURCE, use

T = TypeVar("T")
Row = dict[str, float | None]
"""A second of the curve: ``t_s``, the channels, a ``rate_…`` for each bean channel; None is a gap."""

EVERY_S: Final = 0.25
IDLE_S: Final = 5.0  # a keep-alive this often also frees the thread of a client that has gone
ROWS_AGAIN: Final = 30


class Event(NamedTuple):
    """One server-sent event; ``data`` is JSON."""

    name: str
    id: int
    data: str


class _Told:
    """Something that watchers must hear: written once for all who watch in one language, and while nobody waits."""

    def __init__(self, name: str, ident: int, payload: object) -> None:
        self.name, self._id, self._payload = name, ident, payload
        self._writing = threading.Lock()
        self._written: dict[str, str] = {}

    def event(self, language: str) -> Event:
        """It in the language of whoever watches."""
        with self._writing:
            data = self._written.get(language)
            if data is None:
                use(language)  # in the thread of the stream, which has no other
                data = json.dumps(jsonable(self._payload), ensure_ascii=False, separators=(",", ":"))
                self._written[language] = data
        return Event(self.name, self._id, data)


class Hub:
    """The watchers of one machine."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._closed = False
        self._watchers = 0
        self._numbers: object = None
        self._reading_no = 0
        self._rows: deque[tuple[int, Row]] = deque(maxlen=900)
        self._row_no = 0
        self._readings: dict[tuple[int, int], _Told] = {}
        self._others: deque[tuple[int, _Told]] = deque(maxlen=100)
        self._other_no = 0
        self._seq = 0

    @property
    def watchers(self) -> int:
        """How many watch at this moment."""
        return self._watchers

    def reading(self, numbers: object, rows: Sequence[Row]) -> None:
        """Tell the newest numbers, and the chart rows that were finished with them."""
        with self._changed:
            self._numbers = numbers
            self._readings.clear()
            self._reading_no += 1
            for row in rows:
                self._row_no += 1
                self._rows.append((self._row_no, row))
            self._changed.notify_all()

    def tell(self, name: str, payload: object, *, seq: int | None = None) -> None:
        """Tell something that each watcher must hear: a flush of entries, an outlook, a change of state."""
        with self._changed:
            self._seq = max(self._seq, seq or 0)
            self._other_no += 1
            self._others.append((self._other_no, _Told(name, self._seq, payload)))
            self._changed.notify_all()

    def forget_rows(self) -> None:
        """The curve starts anew: rows told so far are of no use to anyone."""
        with self._changed:
            self._rows.clear()
            self._readings.clear()

    def close(self) -> None:
        """Wake all watchers and let them go."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    def watch(self, language: str = SOURCE) -> Iterator[list[Event]]:
        """Yield what is new as it comes, in a language; an empty list when nothing was for `IDLE_S` (to keep alive).

        The first rows repeat the last `ROWS_AGAIN`, so that none is lost between drawing a page and watching it; a
        watcher leaves out the rows that it has.
        """
        with self._changed:
            reading_no, other_no = 0, self._other_no
            row_no = max(0, self._row_no - ROWS_AGAIN)
            self._watchers += 1
        reading_at_s = 0.0
        try:
            while True:
                with self._changed:
                    reading_no, other_no, row_no, told, closed = self._next(reading_no, other_no, row_no, reading_at_s)
                if closed:
                    return
                if any(one.name == "reading" for one in told):
                    reading_at_s = time.monotonic()
                yield [one.event(language) for one in told]
        finally:
            with self._changed:
                self._watchers -= 1

    def _next(
        self, reading_no: int, other_no: int, row_no: int, reading_at_s: float
    ) -> tuple[int, int, int, list[_Told], bool]:
        """Wait for something new. Entries go out at once, readings at most every `EVERY_S`. The lock is held."""
        until_s = time.monotonic() + IDLE_S
        while True:
            now_s = time.monotonic()
            fresh = self._reading_no > reading_no
            due_s = reading_at_s + EVERY_S - now_s
            if self._closed or self._other_no > other_no or (fresh and due_s <= 0) or now_s >= until_s:
                break
            self._changed.wait(min(due_s if fresh else IDLE_S, until_s - now_s))
        told = _since(self._others, other_no)
        if fresh and due_s <= 0 and self._numbers is not None:
            told.append(self._reading_after(row_no))
            reading_no, row_no = self._reading_no, self._row_no
        return reading_no, self._other_no, row_no, told, self._closed

    def _reading_after(self, row_no: int) -> _Told:
        """The newest numbers with the rows after one: made once for all watchers that are as far."""
        key = row_no, self._seq
        if key not in self._readings:
            rows = _since(self._rows, row_no)
            payload = {**jsonable(self._numbers), "rows": columns_of(rows) if rows else None}
            self._readings[key] = _Told("reading", self._seq, payload)
        return self._readings[key]


def _since(numbered: deque[tuple[int, T]], number: int) -> list[T]:
    """The items after a number, oldest first."""
    found = [item for _, item in takewhile(lambda pair: pair[0] > number, reversed(numbered))]
    found.reverse()
    return found


def columns_of(rows: Sequence[Row]) -> dict[str, list[float | None]]:
    """Rows turned into columns."""
    return {name: [row.get(name) for row in rows] for name in rows[0]}
