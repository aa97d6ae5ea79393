"""Projections: the tables that lists are read from. They hold the folded state of subjects, and nothing more.

They can be rebuilt from the journal with the same content; `mend` does so where they do not match it. Their tables are
defined in `SCHEMA`, not in a migration. A change to a table, or to how its rows are made, must raise `VERSION`; each
database then rebuilds them when it is next opened.
"""

import json
import logging
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, Final

from sqlite_utils import Database

from roastlog.curve.phases import development
from roastlog.journal.entries import Entry
from roastlog.journal.fold import (
    Batch,
    House,
    Lines,
    Lot,
    MachineHistory,
    Person,
    fold,
    fold_house,
    fold_lot,
    fold_machine,
    fold_person,
    lines_of,
)
from roastlog.journal.subject import BATCH, HOUSE, LOT, MACHINE, PERSON, Subject
from roastlog.store.batches import new_code
from roastlog.store.books import LotRow
from roastlog.store.journal import add_entry, all_entries, entries_about, last_seq

VERSION: Final = 2
log = logging.getLogger(__name__)
Row = Mapping[str, Any]


SCHEMA: Final[Mapping[str, Sequence[str]]] = {
    "batches": (
        """CREATE TABLE batches (
            code TEXT PRIMARY KEY, machine TEXT NOT NULL, opened_entry TEXT NOT NULL UNIQUE, state TEXT NOT NULL,
            lot TEXT, coffee TEXT, intent TEXT, opened_ms INTEGER NOT NULL, charged_ms INTEGER, dropped_ms INTEGER,
            green_g REAL, roasted_g REAL, development_s REAL, development_ratio REAL, roast_loss REAL
        ) STRICT""",
        "CREATE INDEX batches_by_coffee ON batches (coffee, opened_ms)",
        "CREATE INDEX batches_by_lot ON batches (lot)",
        "CREATE INDEX batches_by_drop ON batches (machine, dropped_ms)",
        "CREATE INDEX batches_by_state ON batches (state, opened_ms)",
        # Covering indexes: a page skips rows, and a search scans, within the index.
        "CREATE INDEX batches_by_age ON batches (opened_ms, code, state, coffee, lot, intent)",
        "CREATE INDEX batches_by_machine ON batches (machine, opened_ms, code, state)",
    ),
    "lots": (
        """CREATE TABLE lots (
            code TEXT PRIMARY KEY, coffee TEXT NOT NULL, origin TEXT, process TEXT, altitude TEXT, harvest TEXT,
            bought_g REAL NOT NULL, arrived TEXT, cup TEXT, price TEXT, note TEXT
        ) STRICT""",
    ),
    "people": ("CREATE TABLE people (id TEXT PRIMARY KEY, name TEXT NOT NULL, shown TEXT NOT NULL) STRICT",),
    "settings": ("CREATE TABLE settings (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT",),
    "machines": ("CREATE TABLE machines (id TEXT PRIMARY KEY, sheet TEXT NOT NULL, added_ms INTEGER NOT NULL) STRICT",),
}


@dataclass(frozen=True)
class Folded(Lines):
    """The lines of a subject that only a newer version can fold."""

    lines: tuple[Any, ...] = ()


@dataclass(frozen=True)
class _Projection:
    """One table: its key, its columns, and the functions that fold a subject's entries and make its rows."""

    table: str
    key: str
    columns: Sequence[str]
    fold: Callable[[list[Entry], str], Lines]
    rows: Callable[[sqlite3.Connection, Any], list[Row]]
    whole: bool = False  # a single subject makes all rows of the table


@dataclass(frozen=True)
class Made:
    """Numbers of rebuilt rows."""

    batches: int
    lots: int
    people: int
    settings: int
    machines: int

    def __str__(self) -> str:
        """The numbers as a sentence."""
        return (
            f"{self.batches} batches, {self.lots} lots, {self.people} people, {self.settings} settings and "
            f"{self.machines} machines were made anew from the journal."
        )


def open_batch(db: Database, entry: Entry) -> str:
    """Give a new batch the next code of its day and store its `opened` entry; `refresh_batch` then lists it."""
    code = new_code(db, entry.at_ms)
    add_entry(db, entry.model_copy(update={"about": str(Subject(BATCH, code))}))
    return code


def add_many(db: Database, batches: Iterable[tuple[Entry, list[Entry]]]) -> list[str]:
    """Store whole batches, each as its `opened` entry and the rest; returns their codes."""
    codes = []
    for opened, rest in batches:
        codes.append(open_batch(db, opened))
        of_it = {"about": str(Subject(BATCH, codes[-1])), "machine": opened.machine}
        for entry in rest:
            add_entry(db, entry.model_copy(update=of_it))
        refresh_batch(db, codes[-1])
    return codes


def say(db: Database, entry: Entry) -> Lines:
    """Store an entry that has its subject and update the projection; returns the folded subject."""
    add_entry(db, entry)
    return refresh(db, Subject.kept(str(entry.about)))


def refresh(db: Database, subject: Subject, folded: Lines | None = None) -> Lines:
    """Update the projection of a subject, and return it folded. ``folded`` is it where that has been done."""
    projection = _PROJECTIONS.get(subject.kind)
    if folded is None:
        entries = entries_about(db.conn, subject)
        folded = projection.fold(entries, subject.name) if projection else Folded(tuple(lines_of(entries)))
    if projection is not None:
        coffee = _coffee(db.conn, subject.name) if subject.kind == LOT else None
        rows = projection.rows(db.conn, folded)
        if projection.whole:
            db.conn.execute(f"DELETE FROM {projection.table}")  # noqa: S608 - our own name
        elif not rows:
            db.conn.execute(f"DELETE FROM {projection.table} WHERE {projection.key} = ?", (subject.name,))  # noqa: S608
        db.conn.executemany(_upsert_sql(projection), rows)
        if subject.kind == LOT and _coffee(db.conn, subject.name) != coffee:
            for row in db.conn.execute("SELECT code FROM batches WHERE lot = ?", (subject.name,)).fetchall():
                refresh(db, Subject(BATCH, row[0]))
    _mark(db, last_seq(db.conn))
    return folded


def refresh_batch(db: Database, code: str, batch: Batch | None = None) -> None:
    """Update the projection of a batch. ``batch`` is it folded, where that has been done."""
    refresh(db, Subject(BATCH, code), batch)


def rebuild(db: Database) -> Made:
    """Drop the tables of all projections and rebuild them from the journal."""
    for projection in _PROJECTIONS.values():
        db.conn.execute(f"DROP TABLE IF EXISTS {projection.table}")
        for statement in SCHEMA[projection.table]:
            db.conn.execute(statement)
    counts = {}
    for kind, projection in _PROJECTIONS.items():  # batches last: they get coffee names from the lots
        made = (
            row
            for subject, entries in all_entries(db.conn, kind)
            for row in projection.rows(db.conn, projection.fold(entries, subject.name))
        )
        counts[projection.table] = db.conn.executemany(_upsert_sql(projection), made).rowcount
    _mark(db, last_seq(db.conn), VERSION)
    return Made(**{name: max(count, 0) for name, count in counts.items()})


def mend(db: Database) -> str | None:
    """Rebuild the projections where they do not match the journal; returns the fault found, None without one.

    Projections of an earlier version are rebuilt as well; that is no fault.
    """
    version, seq = db.conn.execute("SELECT version, seq FROM projected").fetchone() or (VERSION, None)
    wrong = _fault(db.conn, seq) if version == VERSION else None
    if wrong is None and version == VERSION:
        return None
    log.info("The lists are made anew from the journal (%s)", wrong or f"version {version}")
    with db.atomic():
        log.info("%s", rebuild(db))
    return wrong


def _fault(connection: sqlite3.Connection, seq: int | None) -> str | None:
    """A fault that a quick check finds in the projections, within milliseconds for a large journal; None without."""
    try:
        return _mismatch(connection, seq)
    except sqlite3.OperationalError as error:  # a table or a column is gone
        return str(error)


def _mismatch(connection: sqlite3.Connection, seq: int | None) -> str | None:
    if seq != last_seq(connection):
        return f"they end at entry {seq}, the journal at {last_seq(connection)}"
    counts = "SELECT (SELECT count(*) FROM batches), (SELECT count(*) FROM bags)"
    batches, opened = connection.execute(counts).fetchone()
    if batches != opened:
        return f"they list {batches} batches of {opened}"
    for kind, projection in _PROJECTIONS.items():
        columns = ", ".join(projection.columns)
        found = connection.execute(f"SELECT {columns} FROM {projection.table} LIMIT ?", (0 if kind == BATCH else -1,))  # noqa: S608
        if kind == BATCH:
            continue
        wanted = [
            tuple(row[name] for name in projection.columns)
            for subject, entries in all_entries(connection, kind)
            for row in projection.rows(connection, projection.fold(entries, subject.name))
        ]
        if sorted(map(tuple, found.fetchall()), key=repr) != sorted(wanted, key=repr):
            return f"the table {projection.table} is not what the journal says"
    return None


def _mark(db: Database, seq: int, version: int | None = None) -> None:
    db.conn.execute(
        "INSERT INTO projected (one, version, seq) VALUES (1, ?, ?)"
        " ON CONFLICT (one) DO UPDATE SET seq = excluded.seq, version = coalesce(?, version)",
        (VERSION if version is None else version, seq, version),
    )


def _upsert_sql(projection: _Projection) -> str:
    names = ", ".join(projection.columns)
    values = ", ".join(f":{name}" for name in projection.columns)
    changes = ", ".join(f"{name} = excluded.{name}" for name in projection.columns if name != projection.key)
    return (
        f"INSERT INTO {projection.table} ({names}) VALUES ({values})"  # noqa: S608 - our own names
        f" ON CONFLICT ({projection.key}) DO UPDATE SET {changes}"
    )


def _coffee(connection: sqlite3.Connection, lot: str | None) -> str | None:
    row = None if lot is None else connection.execute("SELECT coffee FROM lots WHERE code = ?", (lot,)).fetchone()
    return None if row is None else str(row[0])


def _batch_rows(connection: sqlite3.Connection, batch: Batch) -> list[Row]:
    if batch.opened is None:
        return []
    at_ms = {name: line.at_ms for name, line in batch.moments.items()}
    times_s = batch.moments_s
    developed = development(times_s, times_s["drop"]) if "drop" in times_s else None
    row = {
        "code": batch.code,
        "machine": batch.machine,
        "opened_entry": str(batch.opened.id),
        "opened_ms": batch.opened.at_ms,
        "state": batch.state,
        "lot": batch.facts.lot,
        "coffee": batch.facts.coffee or _coffee(connection, batch.facts.lot),
        "intent": batch.facts.intent,
        "charged_ms": at_ms.get("charge"),
        "dropped_ms": at_ms.get("drop"),
        "green_g": batch.green_g,
        "roasted_g": batch.roasted_g,
        "development_s": None if developed is None else developed.time_s,
        "development_ratio": None if developed is None else developed.ratio,
        "roast_loss": batch.roast_loss,
    }
    return [row]


def _lot_rows(_connection: sqlite3.Connection, lot: Lot) -> list[Row]:
    if lot.facts is None:
        return []
    facts = lot.facts.model_dump()
    return [{**facts, "code": lot.code, "bought_g": facts["green_g"]}]


def _house_rows(_connection: sqlite3.Connection, house: House) -> list[Row]:
    return [{"name": name, "value": json.dumps(value)} for name, value in house.settings.items()]


def _person_rows(_connection: sqlite3.Connection, person: Person) -> list[Row]:
    return [] if person.name is None else [{"id": person.id, "name": person.name, "shown": person.shown}]


def _machine_rows(_connection: sqlite3.Connection, machine: MachineHistory) -> list[Row]:
    if machine.sheet is None:
        return []
    added_ms = min(line.at_ms for line in machine.lines if line.kind == "set_up")
    return [{"id": machine.id, "sheet": json.dumps(machine.sheet, ensure_ascii=False), "added_ms": added_ms}]


_BATCH_COLUMNS: Final = (
    *("code", "machine", "opened_entry", "opened_ms", "state", "lot", "coffee", "intent", "charged_ms"),
    *("dropped_ms", "green_g", "roasted_g", "development_s", "development_ratio", "roast_loss"),
)
_PROJECTIONS: Final[Mapping[str, _Projection]] = {
    HOUSE: _Projection(
        "settings", "name", ("name", "value"), lambda entries, _: fold_house(entries), _house_rows, whole=True
    ),
    PERSON: _Projection("people", "id", ("id", "name", "shown"), fold_person, _person_rows),
    MACHINE: _Projection("machines", "id", ("id", "sheet", "added_ms"), fold_machine, _machine_rows),
    LOT: _Projection("lots", "code", tuple(item.name for item in fields(LotRow)), fold_lot, _lot_rows),
    BATCH: _Projection("batches", "code", _BATCH_COLUMNS, fold, _batch_rows),
}
