"""Ten years of a busy roastery: the size of its archive, and the time of a list and a record.

The demo's week of batches is repeated, 30 batches a day in a row, at 1 Hz with a jitter of a few ms, with a fourth
channel beside the demo's three, and with readings between the batches too. Each half hour is packed as by the server;
each batch has its complete journal.
"""

import random
import re
import sqlite3
import statistics
import tempfile
import time
import uuid
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from demo import scenario
from demo.week import PastBatch, week
from roastlog.clock import Clock
from roastlog.journal.entries import Entry, parse_entry
from roastlog.services import Services, open_services
from roastlog.store import journal, projections
from roastlog.store.packing import pack, unpack
from roastlog.store.readings import SLOT_MS
from roastlog.store.store import Database
from roastlog.trace.codes import batch_code
from roastlog.web.app import create_app
from tests.bench.report import Figure

BATCHES = 75_000
A_DAY = 30
DAYS_A_COMMIT = 20
CACHE_KB = 400_000
APART_MS = SLOT_MS // 2  # two batches per half hour
# Entries of a batch by busy people; a complete set has 32.
SAID = {"opened": 1, "moment": 5, "move": 9, "trier": 4, "aroma": 3, "crack": 1, "note": 1, "weighed": 1, "released": 1}
ASKED = 40
_LIST = "SELECT * FROM batches WHERE state <> 'discarded' ORDER BY opened_ms DESC, code DESC LIMIT 50 OFFSET ?"
Row = tuple[object, ...]
T = TypeVar("T")


@dataclass(frozen=True)
class Template:
    """A batch of the week, as rows that are copied with another code and time."""

    past: PastBatch
    batch: dict[str, object]
    entries: list[Entry]


def measure(batches: int = BATCHES) -> list[Figure]:
    """Build the archive in a temporary folder, and time queries on it."""
    rng = random.Random(75)
    with tempfile.TemporaryDirectory(prefix="drumside-bench-") as folder, closing(_services(Path(folder))) as services:
        templates = _templates(services)
        codes = _fill(services, templates, batches)
        page, record = _asked_ms(services, codes, rng)
        with closing(sqlite3.connect(services.store.path)) as plain:
            plain.row_factory = sqlite3.Row
            list_floor, record_floor = _plain_ms(plain, codes, rng)
            curves_mb, whole_mb = _sizes_mb(plain)
    scale = BATCHES / batches / 1000
    named, mix = f"{BATCHES // 1000} 000 batches", f"{sum(SAID.values())} entries a batch"
    floats_gb = BATCHES * 720 * 4 * 4 / 1e9
    plainly = "bare sqlite3, the same rows"
    return [
        Figure(
            f"{named}: packed curves", curves_mb * scale, "GB", floats_gb, "four channels, 32-bit floats", "≤ 0.5 GB"
        ),
        Figure(f"{named}: the whole database, {mix}", whole_mb * scale, "GB", None, "", "≤ 0.5 GB"),
        Figure("archive: a page of the list", page, "ms", list_floor, plainly, "≤ 50 ms"),
        Figure("archive: a record's page", record, "ms", record_floor, plainly, "≤ 50 ms"),
    ]


def _services(folder: Path) -> Services:
    """The demo's machine without its wires."""
    channels, controls = scenario.SHEET.read_text(encoding="utf-8").split("[[controls]]", 1)
    wire = re.compile(r"^modbus = .*$", re.MULTILINE)
    services = open_services(folder, Clock())
    services.machines.keep_sheet(wire.sub("http = {}", channels) + "[[controls]]" + wire.sub("", controls))
    services.runtime.start()  # and not the maintenance, which would back up all of this
    return services


def _templates(services: Services) -> list[Template]:
    """Store the week once in the ordinary way, and read it back."""
    made = []
    over = [past for past in week(services.clock.now_ms()) if past.entries[-1]["kind"] == "released"]
    for number, past in enumerate(over):
        entries = [parse_entry(dict(raw), received_ms=raw["at_ms"] + 70) for raw in _usual(past.entries, number)]
        code = services.store.write(
            lambda db, entries=entries: projections.add_many(db, [(entries[0], entries[1:])])[0]
        )
        read = services.store.read
        batch = dict(read.execute("SELECT * FROM batches WHERE code = ?", (code,)).fetchone())
        made.append(Template(past, batch, journal.entries_of(read, code)))
    empty = "DELETE FROM entries WHERE machine NOT NULL; DELETE FROM batches; DELETE FROM bags"
    empty += "; DELETE FROM words WHERE word GLOB 'batch *'"
    services.store.write(lambda db: [db.conn.execute(line) for line in empty.split(";")])
    return made


def _usual(entries: Sequence[dict[str, Any]], number: int) -> list[dict[str, Any]]:
    """Entries of a batch in the mix of `SAID`; missing ones are made up."""
    kept, left = [], dict(SAID)
    for raw in entries:
        if left.get(raw["kind"], 0):
            left[raw["kind"]] -= 1
            kept.append(raw)
    last = next(raw for raw in kept if raw["body"].get("moment") == "first_crack")
    texts = {
        "moment": {"moment": "first_crack_fading"},
        "note": {"text": f"Drier than number {number}, more air"},
    }
    for kind, missing in left.items():
        more = [{**last, "id": str(uuid.uuid4()), "kind": kind, "body": texts[kind]} for _ in range(missing)]
        kept += [{**raw, "at_ms": raw["at_ms"] + 30_000} for raw in more]
    return kept


def _fill(services: Services, templates: list[Template], batches: int) -> list[str]:
    """Write the archive, day by day; returns the codes of its batches."""
    codes: list[str] = []
    services.store.write(lambda db: db.conn.execute(f"PRAGMA cache_size = -{CACHE_KB}"))  # only while filling
    columns = [_half_hour(templates, place) for place in range(len(templates))]
    today = datetime.now(UTC).replace(hour=7, minute=0, second=0, microsecond=0)
    days = [today - timedelta(days=back) for back in range(-(-batches // A_DAY), 0, -1)]
    for first in range(0, len(days), DAYS_A_COMMIT):
        rows, entries, blobs = [], [], []
        for day in days[first : first + DAYS_A_COMMIT]:
            for number in range(min(A_DAY, batches - len(codes))):
                template = templates[len(codes) % len(templates)]
                at_ms = round(day.timestamp()) * 1000 + number * APART_MS
                codes.append(batch_code(day.date(), number + 1))
                batch, said = _copied(template, codes[-1], at_ms + 60_000)
                rows.append(batch)
                entries += said
                if number % 2 == 0:
                    offsets, channels = columns[len(codes) % len(columns)]
                    blobs.append((template.batch["machine"], at_ms, pack(at_ms + offsets, channels)))
        services.store.write(lambda db, some=(rows, entries, blobs): _insert(db, *some))
    with closing(sqlite3.connect(services.store.path)) as plain:  # the archive is measured, not a log of writing it
        plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return codes


def _half_hour(templates: list[Template], place: int) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Half an hour of readings: two batches and the readings between them; times from its start. [ms], [°C]"""
    rng = np.random.default_rng(place)
    offsets = np.arange(SLOT_MS // 1000) * 1000 + rng.integers(0, 5, SLOT_MS // 1000)
    pair = [templates[place].past, templates[(place + 1) % len(templates)].past]
    half = SLOT_MS // 2000
    channels = {
        name: np.concatenate([np.resize(past.channels[name], half) for past in pair]) for name in pair[0].channels
    }
    channels["inlet"] = np.round(channels["exhaust"] * 1.4 + rng.normal(0, 0.2, offsets.size), 1)
    return offsets, channels


def _copied(template: Template, code: str, opened_ms: int) -> tuple[Row, list[Entry]]:
    later_ms = opened_ms - int(str(template.batch["opened_ms"]))
    batch = {
        name: value + later_ms if name.endswith("_ms") and isinstance(value, int) else value
        for name, value in template.batch.items()
    }
    entries = [
        entry.model_copy(
            update={
                "id": uuid.uuid4(),
                "about": f"batch {code}",
                "at_ms": entry.at_ms + later_ms,
                "received_ms": entry.received_ms + later_ms,
            }
        )
        for entry in template.entries
    ]
    batch |= {"code": code, "opened_entry": str(entries[0].id)}
    return tuple(batch.values()), entries


def _insert(db: Database, batches: list[Row], entries: list[Entry], blobs: list[Row]) -> None:
    places = ", ".join("?" * len(batches[0]))
    db.conn.executemany(f"INSERT INTO batches VALUES ({places})", batches)  # noqa: S608 - question marks
    for entry in entries:
        journal.add_entry(db, entry)
    bags = [(batch[0], uuid.uuid4().hex[:22]) for batch in batches]
    db.conn.executemany("INSERT INTO bags (code, token) VALUES (?, ?)", bags)
    db.conn.executemany("INSERT INTO sealed (machine, start_ms, data) VALUES (?, ?, ?)", blobs)


def _asked_ms(services: Services, codes: list[str], rng: random.Random) -> tuple[float, float]:
    """Time of a page of the list and of a record's page, in the app itself. [ms]"""
    client = create_app(services).test_client()

    def ask(path: str) -> None:
        if (answer := client.get(path)).status_code != 200:
            raise RuntimeError(f"{path} gave {answer.status_code}")

    pages = [f"/batches?page={rng.randrange(1, len(codes) // 50 + 1)}" for _ in range(ASKED)]
    records = [f"/batches/{code}" for code in rng.choices(codes, k=ASKED)]
    ask(pages[0])  # so that templates are compiled and Bokeh is loaded
    ask(records[0])
    return _median_ms(ask, pages), _median_ms(ask, records)


def _plain_ms(plain: sqlite3.Connection, codes: list[str], rng: random.Random) -> tuple[float, float]:
    """The same rows by sqlite3 alone, with packed readings unpacked. [ms]"""

    def page(offset: int) -> None:
        plain.execute("SELECT count(*) FROM batches WHERE state <> 'discarded'").fetchone()
        plain.execute(_LIST, (offset,)).fetchall()

    def record(code: str) -> None:
        batch = plain.execute("SELECT * FROM batches WHERE code = ?", (code,)).fetchone()
        plain.execute("SELECT * FROM journal WHERE about = ? ORDER BY seq", (f"batch {code}",)).fetchall()
        span = batch["machine"], batch["charged_ms"] - SLOT_MS, batch["dropped_ms"]
        query = "SELECT data FROM sealed WHERE machine = ? AND start_ms BETWEEN ? AND ?"
        for (blob,) in plain.execute(query, span).fetchall():
            unpack(blob)

    offsets = [50 * rng.randrange(len(codes) // 50) for _ in range(ASKED)]
    return _median_ms(page, offsets), _median_ms(record, rng.choices(codes, k=ASKED))


def _median_ms(ask: Callable[[T], None], what: Sequence[T]) -> float:
    took_s = []
    for one in what:
        begun_s = time.perf_counter()
        ask(one)
        took_s.append(time.perf_counter() - begun_s)
    return 1000 * statistics.median(took_s)


def _sizes_mb(plain: sqlite3.Connection) -> tuple[float, float]:
    """Size of the packed readings on the disk, including index and unused ends of pages, and of the whole file. [MB]"""
    page = plain.execute("PRAGMA page_size").fetchone()[0]
    whole = (
        plain.execute("PRAGMA page_count").fetchone()[0] - plain.execute("PRAGMA freelist_count").fetchone()[0]
    ) * page
    with closing(sqlite3.connect(":memory:")) as alone:
        script = [
            row[0] for row in plain.execute("SELECT sql FROM sqlite_master WHERE tbl_name = 'sealed' AND sql <> ''")
        ]
        for line in script:
            alone.execute(line)
        alone.executemany("INSERT INTO sealed VALUES (?, ?, ?, ?)", plain.execute("SELECT * FROM sealed"))
        curves = alone.execute("PRAGMA page_count").fetchone()[0] * page
    return curves / 1e6, whole / 1e6
