"""The hub sends a machine's events to its watchers.

Watchers share the newest snapshot: a slow phone skips readings, delays nobody, and nothing queues for it. Journal
entries and chart rows are buffered, so that a watcher that stalls for seconds still gets them all.
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
IDLE_S: Final = 5.0  # a keep-alive this often also frees the thread of a disconnected client
ROWS_AGAIN: Final = 30


class Event(NamedTuple):
    """One server-sent event; ``data`` is JSON."""

    name: str
    id: int
    data: str


class _Message:
    """A message to watchers, serialised once per language and outside of the hub's lock."""

    def __init__(self, name: str, ident: int, payload: object) -> None:
        self.name, self._id, self._payload = name, ident, payload
        self._serialising = threading.Lock()
        self._json: dict[str, str] = {}

    def event(self, language: str) -> Event:
        """The message in a watcher's language."""
        with self._serialising:
            data = self._json.get(language)
            if data is None:
                use(language)  # for the stream's own thread
                data = json.dumps(jsonable(self._payload), ensure_ascii=False, separators=(",", ":"))
                self._json[language] = data
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
        self._readings: dict[tuple[int, int], _Message] = {}
        self._others: deque[tuple[int, _Message]] = deque(maxlen=100)
        self._other_no = 0
        self._seq = 0

    @property
    def watchers(self) -> int:
        """Number of watchers now."""
        return self._watchers

    def reading(self, numbers: object, rows: Sequence[Row]) -> None:
        """Send the newest numbers and the chart rows finished with them."""
        with self._changed:
            self._numbers = numbers
            self._readings.clear()
            self._reading_no += 1
            for row in rows:
                self._row_no += 1
                self._rows.append((self._row_no, row))
            self._changed.notify_all()

    def tell(self, name: str, payload: object, *, seq: int | None = None) -> None:
        """Send a message that no watcher may miss: a flush of entries, an outlook, a change of state."""
        with self._changed:
            self._seq = max(self._seq, seq or 0)
            self._other_no += 1
            self._others.append((self._other_no, _Message(name, self._seq, payload)))
            self._changed.notify_all()

    def forget_rows(self) -> None:
        """Drop the buffered rows: the curve starts anew."""
        with self._changed:
            self._rows.clear()
            self._readings.clear()

    def close(self) -> None:
        """Wake all watchers and end their streams."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    def watch(self, language: str = SOURCE) -> Iterator[list[Event]]:
        """Yield new events as they come, in a language; an empty list after `IDLE_S` without one, as a keep-alive.

        The first rows repeat the last `ROWS_AGAIN`, so that none is lost between a page's load and its stream; a
        watcher skips rows that it has.
        """
        with self._changed:
            reading_no, other_no = 0, self._other_no
            row_no = max(0, self._row_no - ROWS_AGAIN)
            self._watchers += 1
        reading_at_s = 0.0
        try:
            while True:
                with self._changed:
                    reading_no, other_no, row_no, fresh, closed = self._next(reading_no, other_no, row_no, reading_at_s)
                if closed:
                    return
                if any(message.name == "reading" for message in fresh):
                    reading_at_s = time.monotonic()
                yield [message.event(language) for message in fresh]
        finally:
            with self._changed:
                self._watchers -= 1

    def _next(
        self, reading_no: int, other_no: int, row_no: int, reading_at_s: float
    ) -> tuple[int, int, int, list[_Message], bool]:
        """Wait for something new. Entries go out at once, readings at most every `EVERY_S`. The lock is held."""
        until_s = time.monotonic() + IDLE_S
        while True:
            now_s = time.monotonic()
            fresh = self._reading_no > reading_no
            due_s = reading_at_s + EVERY_S - now_s
            if self._closed or self._other_no > other_no or (fresh and due_s <= 0) or now_s >= until_s:
                break
            self._changed.wait(min(due_s if fresh else IDLE_S, until_s - now_s))
        messages = _since(self._others, other_no)
        if fresh and due_s <= 0 and self._numbers is not None:
            messages.append(self._reading_after(row_no))
            reading_no, row_no = self._reading_no, self._row_no
        return reading_no, self._other_no, row_no, messages, self._closed

    def _reading_after(self, row_no: int) -> _Message:
        """The newest numbers with the rows after a row number: built once for all watchers at that row."""
        key = row_no, self._seq
        if key not in self._readings:
            rows = _since(self._rows, row_no)
            payload = {**jsonable(self._numbers), "rows": columns_of(rows) if rows else None}
            self._readings[key] = _Message("reading", self._seq, payload)
        return self._readings[key]


def _since(numbered: deque[tuple[int, T]], number: int) -> list[T]:
    """The items after a number, oldest first."""
    found = [item for _, item in takewhile(lambda pair: pair[0] > number, reversed(numbered))]
    found.reverse()
    return found


def columns_of(rows: Sequence[Row]) -> dict[str, list[float | None]]:
    """Rows as columns."""
    return {name: [row.get(name) for row in rows] for name in rows[0]}
