"""Time of the pages and calls that ask the ledger, beside raw sqlite3 over the same rows.

One lot was roasted in 2,000 batches and sold in 60,000 bags; 500 other lots were used over ten years.
"""

import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from uuid import uuid4

from roastlog.clock import Clock
from roastlog.journal.entries import Entry
from roastlog.services import open_services
from roastlog.store import projections
from roastlog.store.backups import FILE_NAME
from roastlog.store.journal import add_entry
from roastlog.store.store import Database
from roastlog.web.app import create_app
from tests.bench.report import Figure

BATCHES, BAGS, BUYERS = 2000, 30, 400
LOTS, BATCHES_A_LOT = 500, 15
DAY_MS = 86_400_000
ASKED = 15
TREE = """
    WITH RECURSIVE reached (id) AS (
        SELECT id FROM accounts WHERE kind = 'green' AND name = 'BIG'
        UNION
        SELECT accounts.id FROM reached JOIN movements ON source = reached.id JOIN accounts ON accounts.id = target
        WHERE accounts.name <> '' AND accounts.kind <> 'customer'
    )
    SELECT source, target, sum(grams) FROM reached JOIN movements ON source = reached.id GROUP BY 1, 2"""
GREEN = "SELECT * FROM lots LEFT JOIN accounts ON kind = 'green' AND name = code"
PACKS = "SELECT * FROM accounts JOIN packs ON code = name WHERE kind = 'pack' AND grams <> 0"


def measure() -> list[Figure]:
    """Fill a temporary folder, and ask."""
    with tempfile.TemporaryDirectory(prefix="drumside-ledger-") as name:
        folder = Path(name)
        services = open_services(folder, Clock())
        now_ms = services.clock.now_ms()
        for first in range(0, BATCHES, 100):
            services.store.write(lambda db, first=first: _sold(db, range(first, first + 100), now_ms))
        for first in range(0, LOTS, 50):
            services.store.write(lambda db, first=first: _used(db, range(first, first + 50), now_ms))
        client = create_app(services).test_client()
        try:
            with closing(sqlite3.connect(folder / FILE_NAME)) as raw:
                return [
                    _figure(
                        f"tree of {BATCHES} batches and {BATCHES * BAGS} bags",
                        "/api/trace/BIG",
                        client.get,
                        raw,
                        TREE,
                        150,
                    ),
                    _figure("the same as a page", "/trace/BIG", client.get, raw, TREE, 150),
                    _figure(f"page of {LOTS} lots over ten years", "/lots", client.get, raw, GREEN, 50),
                    _figure("page of the roasted stock", "/stock", client.get, raw, PACKS, 50),
                ]
        finally:
            services.close()


def _figure(
    name: str, path: str, get: Callable[..., object], raw: sqlite3.Connection, sql: str, most_ms: int
) -> Figure:
    took_ms = _median_ms(lambda: get(path, environ_base={"REMOTE_ADDR": "127.0.0.1"}))
    floor_ms = _median_ms(lambda: raw.execute(sql).fetchall())
    return Figure(name, took_ms, "ms", floor_ms, "sqlite3, the rows fetched", f"under {most_ms} ms")


def _median_ms(ask: Callable[[], object]) -> float:
    ask()
    took_ms = []
    for _ in range(ASKED):
        begun_s = time.perf_counter()
        ask()
        took_ms.append(1000 * (time.perf_counter() - begun_s))
    return statistics.median(took_ms)


def _sold(db: Database, numbers: range, now_ms: int) -> None:
    """Batches of the one lot, each in a pack that three customers bought."""
    if not numbers.start:
        _say(db, "lot BIG", "arrived", now_ms - 400 * DAY_MS, coffee="Alder washed", green_g=8e6)
    for number in numbers:
        at_ms = now_ms - 365 * DAY_MS + number * 15_000_000
        code = _roasted(db, "BIG", at_ms)
        pack = f"pack {code}-1"
        _say(db, pack, "packed", at_ms, parts=[{"batch": code, "grams": 3050}], bag_g=100, count=BAGS)
        for turn in range(3):
            _say(db, pack, "sold", at_ms + turn, count=8, customer=f"c{(number * 7 + turn * 131) % BUYERS}")


def _used(db: Database, numbers: range, now_ms: int) -> None:
    """Lots of ten years, each with its batches."""
    for number in numbers:
        at_ms = now_ms - 3650 * DAY_MS + number * 7 * DAY_MS
        _say(db, f"lot L{number}", "arrived", at_ms, coffee=f"Coffee {number % 40}", green_g=60_400)
        for turn in range(BATCHES_A_LOT):
            _roasted(db, f"L{number}", at_ms + turn * DAY_MS)


def _roasted(db: Database, lot: str, at_ms: int) -> str:
    opened = Entry(id=uuid4(), machine="drum-4", kind="opened", at_ms=at_ms, body={"lot": lot, "green_g": 4000.0})
    code = projections.open_batch(db, opened)
    for kind, body in (
        ("moment", {"moment": "charge"}),
        ("moment", {"moment": "drop"}),
        ("weighed", {"roasted_g": 3400.0}),
    ):
        add_entry(db, Entry(id=uuid4(), about=f"batch {code}", machine="drum-4", kind=kind, at_ms=at_ms, body=body))
    projections.refresh_batch(db, code)
    return code


def _say(db: Database, about: str, kind: str, at_ms: int, **body: object) -> None:
    projections.say(db, Entry(id=uuid4(), about=about, kind=kind, at_ms=at_ms, body=body))
