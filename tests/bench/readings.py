"""Cost of a reading: pushed to a server, and recorded in process."""

import http.client
import sqlite3
import tempfile
import time
from contextlib import closing
from pathlib import Path

from roastlog.clock import Clock
from roastlog.instruments.base import Reading
from roastlog.machine.sheet import parse_sheet
from roastlog.recording.live_machine import LiveMachine
from roastlog.store.store import Store
from tests.bench import roast
from tests.bench.drumside import READINGS, Roast
from tests.bench.report import Figure
from tests.bench.running import Running, post

PUSHES = 300
SECONDS = 300


def measure(ours: Running, bare: Running) -> list[Figure]:
    """Processor time of a pushed and a recorded reading, without disk waits, beside the minimum to store one."""
    with Roast(ours.port, 300):
        pushed_us = _pushed_us(ours, READINGS)
    return [
        Figure(
            "server time a pushed reading (12 a push)",
            pushed_us,
            "µs CPU",
            _pushed_us(bare, "/readings"),
            "bare Flask and sqlite3, one commit a second",
        ),
        Figure(
            "recorder a reading (12 and a commit a second)",
            _recorded_us(),
            "µs CPU",
            _inserted_us(),
            "bare sqlite3 insert, one commit a second",
        ),
    ]


def _pushed_us(server: Running, path: str) -> float:
    """Push one second of readings after another, as fast as possible; all are fresh, so the whole live path runs."""
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=10)
    count, before_s = 0, server.cpu_s()
    for _ in range(PUSHES):
        now_ms = time.time_ns() // 1_000_000
        readings = [
            {**reading, "at_ms": now_ms + place // 3} for place, reading in enumerate(roast.instants(300, 301, 0))
        ]
        status, _answer = post(connection, path, {"readings": readings})
        if status != http.client.ACCEPTED:
            raise RuntimeError(f"{path} gave {status}")
        count += len(readings)
    connection.close()
    return 1e6 * (server.cpu_s() - before_s) / count


def _seconds() -> list[list[list[Reading]]]:
    """The last five minutes, as seconds of four instants of readings."""
    start_ms = time.time_ns() // 1_000_000 - SECONDS * 1000
    return [[_instant(start_ms, second + part / 4) for part in range(4)] for second in range(SECONDS)]


def _instant(start_ms: int, time_s: float) -> list[Reading]:
    at_ms = start_ms + round(time_s * 1000)
    return [Reading(at_ms, channel, value) for channel, value in roast.values_at(time_s).items()]


def _recorded_us() -> float:
    seconds = _seconds()
    with tempfile.TemporaryDirectory(prefix="drumside-bench-") as folder, closing(Store(Path(folder))) as store:
        live = LiveMachine(parse_sheet(roast.SHEET), store, Clock())
        begun_s = time.process_time()
        for second in seconds:
            for instant in second:
                live.take(instant)
            live.save()
        return 1e6 * (time.process_time() - begun_s) / (SECONDS * 12)


def _inserted_us() -> float:
    seconds = _seconds()
    with (
        tempfile.TemporaryDirectory(prefix="bare-bench-") as folder,
        closing(sqlite3.connect(Path(folder) / "bare.sqlite3")) as connection,
    ):
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("CREATE TABLE readings (at_ms INTEGER, a REAL, b REAL, c REAL) STRICT")
        begun_s = time.process_time()
        for second in seconds:
            rows = [(instant[0].at_ms, *(reading.value for reading in instant)) for instant in second]
            connection.executemany("INSERT INTO readings VALUES (?, ?, ?, ?)", rows)
            connection.commit()
        return 1e6 * (time.process_time() - begun_s) / (SECONDS * 12)
