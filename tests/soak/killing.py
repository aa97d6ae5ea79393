"""A server under load, killed at random moments: acknowledged data compared with the data on its disk."""

import http.client
import json
import os
import random
import sqlite3
import threading
import time
from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from uuid import UUID, uuid4

from roastlog.store import readings
from roastlog.store.backups import FILE_NAME
from tests.conftest import SHEET
from tests.recording.test_restart import Server

MACHINES = ("drum-4", "drum-1")
TAPPERS = 3  # phones, distributed over the machines
LATE_MS = 7_200_000  # age of the readings of a logger that catches up
EVER = -(1 << 60), 1 << 60


@dataclass
class Acknowledged:
    """Acknowledged data with times: entries by id, readings by machine and time."""

    entries: dict[str, dict[str, object]] = field(default_factory=dict)
    readings: dict[tuple[str, int], tuple[float, float]] = field(default_factory=dict)
    waiting: dict[int, dict[str, object]] = field(default_factory=dict)  # unanswered taps, by phone


@dataclass(frozen=True)
class Point:
    """Losses of one kill.

    Attributes
    ----------
    entries, readings : int
        How many were acknowledged since the kill before.
    lost_entries, lost_readings : int
        How many of all that were ever acknowledged are not there.
    lost_s : float
        How long before the kill the oldest of the lost readings was acknowledged. [s]
    holes : int
        Lost readings that were acknowledged before one of the same sender that is there.
    up_s : float
        From the start to the first answer; the imports are done before (`tests/launcher.py`). [s]
    """

    entries: int
    readings: int
    lost_entries: int
    lost_readings: int
    lost_s: float
    holes: int
    up_s: float


class Killing:
    """A data folder, and the data sent to the servers that were killed on it."""

    def __init__(self, folder: Path, rng: random.Random) -> None:
        self.server, self._rng = Server(folder), rng
        self.said = Acknowledged()
        self._batches: dict[str, str] = {}
        self._lock = threading.Lock()
        for machine in MACHINES:
            sheet = folder / f"{machine}.toml"
            sheet.write_text(SHEET.replace("drum-4", machine), encoding="utf-8")
            self.server.run("machine", "import", str(sheet), "--data", str(folder)).check_returncode()

    def points(self, count: int, longest_s: float) -> list[Point]:
        """Start, load and kill a number of times, each after a random time; then start once more."""
        found = [self._point(self._rng.uniform(0.2, longest_s)) for _ in range(count)]
        self.server.start()
        return found

    def end(self) -> None:
        """Stop everything."""
        self.server.end()

    def _point(self, load_s: float) -> Point:
        begun_s = time.monotonic()
        self.server.start()
        up_s = time.monotonic() - begun_s
        before = len(self.said.entries), len(self.said.readings)
        self._open_batches()
        stop = threading.Event()
        threads = [threading.Thread(target=self._run, args=(job, stop)) for job in self._jobs()]
        for thread in threads:
            thread.start()
        time.sleep(load_s)
        killed_s = time.monotonic()
        self.server.kill_group()
        stop.set()
        for thread in threads:
            thread.join()
        lost, lost_s, holes = self._lost_readings(killed_s)
        return Point(
            entries=len(self.said.entries) - before[0],
            readings=len(self.said.readings) - before[1],
            lost_entries=self._lost_entries(),
            lost_readings=lost,
            lost_s=lost_s,
            holes=holes,
            up_s=up_s,
        )

    def _jobs(self) -> list[Callable[[http.client.HTTPConnection], None]]:
        """The clients, each a function that is called again and again with its connection."""
        jobs = [self._tapper(phone) for phone in range(TAPPERS)]
        for machine in MACHINES:
            jobs += [self._pusher(machine, 0, 0.25), self._pusher(machine, LATE_MS, 0.2)]
        return jobs

    def _run(self, job: Callable[[http.client.HTTPConnection], None], stop: threading.Event) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", self.server.port, timeout=30)
        with suppress(OSError, http.client.HTTPException, ValueError):  # the kill, during an answer
            while not stop.is_set():
                job(connection)
        connection.close()

    def _open_batches(self) -> None:
        for machine in MACHINES:
            if machine not in self._batches:
                opened = entry(machine, "opened", coffee="Night Ferry")
                self._batches[machine] = str(self._accepted([opened])[0]["batch"])
                charge = entry(machine, "moment", moment="charge") | {"batch": self._batches[machine]}
                self._accepted([charge])

    def _accepted(self, entries: list[dict[str, object]]) -> list[dict[str, object]]:
        status, told = self.server.ask("POST", "/api/entries", {"entries": entries})
        if status != http.client.OK:
            raise RuntimeError(f"entries were not taken: {status} {told}")
        return list(told["results"])

    def _pusher(self, machine: str, late_ms: int, pause_s: float) -> Callable[[http.client.HTTPConnection], None]:
        last_ms = 0

        def push(connection: http.client.HTTPConnection) -> None:
            nonlocal last_ms
            # A multiple of two now and an odd number later: the two senders of a machine share no instant.
            last_ms = max(last_ms + 2, (time.time_ns() // 1_000_000 - late_ms) // 2 * 2 + bool(late_ms))
            value = round(20 + last_ms % 100_000 / 100, 2)
            readings = [{"at_ms": last_ms, "channel": channel, "value": value} for channel in ("bean_probe",)]
            post(connection, f"/api/machines/{machine}/readings", {"readings": readings}, http.client.ACCEPTED)
            with self._lock:
                self.said.readings[machine, last_ms] = value, time.monotonic()
            time.sleep(pause_s * 0.1 if late_ms else pause_s)

        return push

    def _tapper(self, phone: int) -> Callable[[http.client.HTTPConnection], None]:
        def tap(connection: http.client.HTTPConnection) -> None:
            made = self.said.waiting.get(phone)  # resend unanswered taps from before the kill
            if made is None:
                machine = MACHINES[phone % len(MACHINES)]
                made = entry(machine, "note", text=f"é {phone} {time.monotonic()}")
                made["batch"] = self._batches[machine]
                self.said.waiting[phone] = made
            told = post(connection, "/api/entries", {"entries": [made]}, http.client.OK)
            if told["results"][0]["status"] not in {"stored", "known"}:
                raise RuntimeError(f"a note was not taken: {told}")
            with self._lock:
                self.said.entries[str(made["id"])] = made
            del self.said.waiting[phone]

        return tap

    def _lost_entries(self) -> int:
        with closing(self._connect()) as connection:
            rows = connection.execute("SELECT id, at_ms, body FROM journal").fetchall()
        there = {str(UUID(bytes=row["id"])): (row["at_ms"], json.loads(row["body"])) for row in rows}
        return sum(there.get(ident) != (made["at_ms"], made["body"]) for ident, made in self.said.entries.items())

    def _lost_readings(self, killed_s: float) -> tuple[int, float, int]:
        with closing(self._connect()) as connection:
            there = {
                (machine, at_ms): values.get("bean_probe")
                for machine in MACHINES
                for at_ms, values in readings.rows_between(connection, machine, *EVER)
            }
        lost = [key for key, (value, _) in self.said.readings.items() if there.get(key) != value]
        lost_s = max((killed_s - self.said.readings[key][1] for key in lost), default=0.0)
        holes = 0
        for machine, at_ms in lost:
            said_s = self.said.readings[machine, at_ms][1]
            holes += any(
                who == machine and later_ms % 2 == at_ms % 2 and later_s > said_s and (who, later_ms) in there
                for (who, later_ms), (_, later_s) in self.said.readings.items()
            )
        for key in lost:  # counted once
            del self.said.readings[key]
        return len(lost), lost_s, holes

    def _connect(self) -> sqlite3.Connection:
        connection = sqlite3.connect(self.server.folder / FILE_NAME)
        connection.row_factory = sqlite3.Row
        return connection


def entry(machine: str, kind: str, **body: object) -> dict[str, object]:
    """An entry in the form that a phone sends, made now."""
    at_ms = time.time_ns() // 1_000_000
    return {"id": str(uuid4()), "machine": machine, "kind": kind, "at_ms": at_ms, "body": body}


def post(connection: http.client.HTTPConnection, path: str, payload: object, expected: int) -> dict[str, list]:  # type: ignore[type-arg]
    """Send JSON and return the answer; a truncated answer counts as none."""
    connection.request("POST", path, json.dumps(payload), {"Content-Type": "application/json"})
    answer = connection.getresponse()
    text = answer.read()
    if answer.status != expected:
        raise RuntimeError(f"{path} gave {answer.status}: {text[:300]!r}")
    told: dict[str, list] = json.loads(text)  # type: ignore[type-arg]
    return told


def seed() -> int:
    """A new random seed, which is printed; or DRUMSIDE_SOAK_SEED."""
    return int(os.environ.get("DRUMSIDE_SOAK_SEED", random.SystemRandom().randrange(1_000_000)))
