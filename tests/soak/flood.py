"""A server under floods: posts of a thousand entries, a logger's backlog and exports, beside live readings and taps."""

import http.client
import random
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.soak.killing import MACHINES, Killing, entry, post

POSTERS = 2
ENTRIES = 1000  # a call; the most that the API takes
READINGS = 5000  # likewise
BACKLOG_MS = 36_000_000  # ten hours
TAP_PAUSE_S = 0.1


@dataclass(frozen=True)
class Flooded:
    """Results of a flood that ended in a kill.

    Attributes
    ----------
    tap_s : list of float
        From sending a tap to its acknowledgement, sorted. [s]
    entries, readings : int
        How many entries came in floods and how many old readings were acknowledged.
    lost_entries : int
        How many acknowledged entries are not there.
    lost_s : float
        How long before the kill the oldest of the lost live readings was acknowledged. [s]
    """

    tap_s: list[float]
    entries: int
    readings: int
    lost_entries: int
    lost_s: float


class Flood(Killing):
    """A data folder under floods."""

    def __init__(self, folder: Path, rng: random.Random, *, entries: int = ENTRIES) -> None:
        super().__init__(folder, rng)
        self._entries = entries
        self._tap_s: list[float] = []
        self._flooded = 0
        self._pushed = 0

    def run(self, load_s: float) -> Flooded:
        """Flood a server for a time, then kill it."""
        point = self._point(load_s)
        return Flooded(sorted(self._tap_s), self._flooded, self._pushed, point.lost_entries, point.lost_s)

    def _jobs(self) -> list[Callable[[http.client.HTTPConnection], None]]:
        live = [self._pusher(machine, 0, 0.25) for machine in MACHINES]
        return [*live, *[self._post_many] * POSTERS, self._backlog(), self._export, self._tap]

    def _post_many(self, connection: http.client.HTTPConnection) -> None:
        """Many entries to one batch, of all kinds that are tapped."""
        kinds = (
            ("note", {"text": "Flood."}),
            ("moment", {"moment": "first_crack"}),
            ("trier", {"stage": "yellow"}),
            ("move", {"control": "radiant", "setting": 4.5}),
            ("crack", {"vigour": "steady"}),
        )
        batch = self._batches[MACHINES[0]]
        made = [entry(MACHINES[0], *kinds[number % 5][:1], **kinds[number % 5][1]) for number in range(self._entries)]
        told = post(connection, "/api/entries", {"entries": [one | {"batch": batch} for one in made]}, 200)
        stored = {result["id"] for result in told["results"] if result["status"] == "stored"}
        with self._lock:
            self._flooded += len(stored)
            self.said.entries |= {str(one["id"]): one for one in made if one["id"] in stored}

    def _backlog(self) -> Callable[[http.client.HTTPConnection], None]:
        """The readings of a logger that was without a network for hours, the most that a call takes."""
        next_ms = time.time_ns() // 1_000_000 - BACKLOG_MS

        def push(connection: http.client.HTTPConnection) -> None:
            nonlocal next_ms
            times_ms = range(next_ms, next_ms + READINGS * 2, 2)
            readings = [{"at_ms": at_ms | 1, "channel": "bean_probe", "value": 150.0} for at_ms in times_ms]
            next_ms = times_ms.stop
            post(connection, f"/api/machines/{MACHINES[1]}/readings", {"readings": readings}, http.client.ACCEPTED)
            self._pushed += READINGS

        return push

    def _export(self, connection: http.client.HTTPConnection) -> None:
        for path in (f"/api/batches/{self._batches[MACHINES[0]]}/curve.csv", "/api/entries?machine=drum-4&after=0"):
            connection.request("GET", path)
            connection.getresponse().read()

    def _tap(self, connection: http.client.HTTPConnection) -> None:
        begun_s = time.monotonic()
        self._tapper(0)(connection)
        self._tap_s.append(time.monotonic() - begun_s)
        time.sleep(TAP_PAUSE_S)
