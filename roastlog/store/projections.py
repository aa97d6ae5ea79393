"""Projections: the tables that lists are read from. They hold the folded state of subjects, and nothing more.

They can be rebuilt from the journal with the same content; `mend` does so where they do not match it. Their tables are
defined in `SCHEMA`, not in a migration. A change to a table, or to how its rows are made, must raise `VERSION`; each
database then rebuilds them when it is next opened.
"""

import json
import logging
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlite_utils import Database

from roastlog.curve.phases import development
from roastlog.journal.entries import Entry
from roastlog.journal.fold import (
    Batch,
    Blend,
    Customer,
    House,
    Lines,
    Lot,
    MachineHistory,
    Order,
    Pack,
    Person,
    Postings,
    Product,
    Recall,
    fold,
    fold_blend,
    fold_customer,
    fold_house,
    fold_lot,
    fold_machine,
    fold_order,
    fold_pack,
    fold_person,
    fold_product,
    fold_recall,
    lines_of,
    postings_of,
)
from roastlog.journal.subject import (
    BATCH,
    BLEND,
    CUSTOMER,
    HOUSE,
    LOT,
    MACHINE,
    ORDER,
    PACK,
    PERSON,
    PRODUCT,
    RECALL,
    Subject,
)
from roastlog.store import ledger
from roastlog.store.batches import new_code
from roastlog.store.books import LOT_COLUMNS
from roastlog.store.journal import add_entry, all_entries, entries_about, last_seq
from roastlog.store.machines import is_practice

VERSION: Final = 4
log = logging.getLogger(__name__)
Row = Mapping[str, Any]


SCHEMA: Final[Mapping[str, Sequence[str]]] = {
    **ledger.SCHEMA,
    "batches": (
        """CREATE TABLE batches (
            code TEXT PRIMARY KEY, machine TEXT NOT NULL, opened_entry TEXT NOT NULL UNIQUE, state TEXT NOT NULL,
            lot TEXT, coffee TEXT, intent TEXT, opened_ms INTEGER NOT NULL, charged_ms INTEGER, dropped_ms INTEGER,
            green_g REAL, roasted_g REAL, development_s REAL, development_ratio REAL, roast_loss REAL, product TEXT
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
            bought_g REAL NOT NULL, arrived TEXT, cup TEXT, price TEXT, note TEXT, supplier TEXT, reference TEXT,
            sacks INTEGER, currency TEXT, price_per_kg REAL, landed_per_kg REAL, place TEXT, lead_days INTEGER,
            harvested TEXT, state TEXT NOT NULL, arrived_ms INTEGER NOT NULL, checked_ms INTEGER,
            moisture_percent REAL, water_activity REAL, density_g_l REAL, first_moisture_percent REAL
        ) STRICT""",
    ),
    "products": (
        """CREATE TABLE products (
            code TEXT PRIMARY KEY, name TEXT NOT NULL, closed INTEGER NOT NULL, body TEXT NOT NULL
        ) STRICT""",
    ),
    "blends": (
        "CREATE TABLE blends (code TEXT PRIMARY KEY, product TEXT, blended_ms INTEGER NOT NULL) STRICT",
        "CREATE INDEX blends_by_age ON blends (blended_ms)",
    ),
    "packs": (
        """CREATE TABLE packs (
            code TEXT PRIMARY KEY, product TEXT, source TEXT NOT NULL, packed_ms INTEGER NOT NULL,
            bag_g INTEGER NOT NULL, count INTEGER NOT NULL, packaging TEXT, best_before TEXT
        ) STRICT""",
        "CREATE INDEX packs_by_age ON packs (packed_ms)",
        "CREATE INDEX packs_by_source ON packs (source)",
    ),
    "orders": (
        """CREATE TABLE orders (
            code TEXT PRIMARY KEY, customer TEXT NOT NULL, due TEXT NOT NULL, cancelled INTEGER NOT NULL,
            body TEXT NOT NULL
        ) STRICT""",
        "CREATE INDEX orders_by_due ON orders (due)",
    ),
    "recalls": (
        """CREATE TABLE recalls (
            id TEXT PRIMARY KEY, codes TEXT NOT NULL, cause TEXT NOT NULL, drill INTEGER NOT NULL,
            started_ms INTEGER NOT NULL, finished_ms INTEGER
        ) STRICT""",
    ),
    "customers": (
        """CREATE TABLE customers (
            id TEXT PRIMARY KEY, name TEXT NOT NULL, contact TEXT, business INTEGER NOT NULL
        ) STRICT""",
        "CREATE INDEX customers_by_name ON customers (name)",
    ),
    "people": ("CREATE TABLE people (id TEXT PRIMARY KEY, name TEXT NOT NULL, shown TEXT NOT NULL) STRICT",),
    "settings": ("CREATE TABLE settings (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT",),
    "machines": (
        """CREATE TABLE machines (
            id TEXT PRIMARY KEY, sheet TEXT NOT NULL, added_ms INTEGER NOT NULL, practice INTEGER NOT NULL
        ) STRICT""",
    ),
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
    many: bool = False  # the table grows with each day of work, too large to be compared at each start


@dataclass(frozen=True)
class Made:
    """Numbers of rebuilt rows, by table."""

    rows: Mapping[str, int]

    def __str__(self) -> str:
        """The numbers as a sentence."""
        *others, last = [f"{count} {table}" for table, count in self.rows.items()]
        return f"{', '.join(others)} and {last} were made anew from the journal."


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
    _post(db, subject, folded)
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
    for table, statements in SCHEMA.items():
        db.conn.execute(f"DROP TABLE IF EXISTS {table}")
        for statement in statements:
            db.conn.execute(statement)
    counts = {}
    for kind, projection in _PROJECTIONS.items():  # batches after lots and machines, of which they get names
        made = _folded_rows(db, kind, projection)
        counts[projection.table] = max(db.conn.executemany(_upsert_sql(projection), made).rowcount, 0)
    ledger.settle(db)
    _mark(db, last_seq(db.conn), VERSION)
    return Made(counts)


def _folded_rows(db: Database, kind: str, projection: _Projection) -> Iterator[Row]:
    """The rows of all subjects of a kind; their movements go into the ledger by the way."""
    for subject, entries in all_entries(db.conn, kind):
        folded = projection.fold(entries, subject.name)
        ledger.add(db, subject, _postings(db.conn, folded))
        yield from projection.rows(db.conn, folded)


def _post(db: Database, subject: Subject, folded: Lines) -> None:
    ledger.post(db, subject, _postings(db.conn, folded))


def _postings(connection: sqlite3.Connection, folded: Lines) -> Postings:
    """The movements and counts of a subject; batches of practice machines bring nothing."""
    if isinstance(folded, Batch) and folded.machine is not None and is_practice(connection, folded.machine):
        return Postings()
    return postings_of(folded)


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
    counts = "SELECT (SELECT count(*) FROM batches), (SELECT count(*) FROM bags WHERE code NOT GLOB '*-M*')"
    batches, opened = connection.execute(counts).fetchone()
    if batches != opened:
        return f"they list {batches} batches of {opened}"
    for kind, projection in _PROJECTIONS.items():
        columns = ", ".join(projection.columns)
        limit = 0 if projection.many else -1
        found = connection.execute(f"SELECT {columns} FROM {projection.table} LIMIT ?", (limit,))  # noqa: S608
        if projection.many:
            continue
        wanted = [
            tuple(row[name] for name in projection.columns)
            for subject, entries in all_entries(connection, kind)
            for row in projection.rows(connection, projection.fold(entries, subject.name))
        ]
        if sorted(map(tuple, found.fetchall()), key=repr) != sorted(wanted, key=repr):
            return f"the table {projection.table} is not what the journal says"
    return ledger.fault(connection)


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
        "product": batch.facts.product,
    }
    return [row]


def _lot_rows(_connection: sqlite3.Connection, lot: Lot) -> list[Row]:
    if lot.facts is None or lot.arrived is None:
        return []
    facts, checked = lot.facts.model_dump(), lot.last("checked")
    measured = {} if lot.measured is None else lot.measured.model_dump()
    moistures = [line.body["moisture_percent"] for line in lot.of("checked") if "moisture_percent" in line.body]
    row = {
        **{name: measured.get(name) for name in ("moisture_percent", "water_activity", "density_g_l")},
        **facts,
        "code": lot.code,
        "bought_g": facts["green_g"],
        "state": lot.state,
        "arrived_ms": lot.arrived.at_ms,
        "checked_ms": None if checked is None else checked.at_ms,
        "first_moisture_percent": next(iter(moistures), None),
    }
    return [row]


def _product_rows(_connection: sqlite3.Connection, product: Product) -> list[Row]:
    if product.facts is None:
        return []
    body = product.facts.model_dump_json(exclude_none=True)
    return [{"code": product.code, "name": product.facts.name, "closed": int(product.closed), "body": body}]


def _blend_rows(_connection: sqlite3.Connection, blend: Blend) -> list[Row]:
    if blend.facts is None or blend.blended is None:
        return []
    return [{"code": blend.code, "product": blend.facts.product, "blended_ms": blend.blended.at_ms}]


def _pack_rows(_connection: sqlite3.Connection, pack: Pack) -> list[Row]:
    if pack.facts is None or pack.packed is None:
        return []
    facts = pack.facts.model_dump(include={"product", "bag_g", "count", "packaging", "best_before"})
    return [{**facts, "code": pack.code, "packed_ms": pack.packed.at_ms, "source": pack.facts.parts[0].batch}]


def _order_rows(_connection: sqlite3.Connection, order: Order) -> list[Row]:
    if order.facts is None:
        return []
    facts = order.facts.model_dump(include={"customer", "due"})
    body = order.facts.model_dump_json(exclude_none=True)
    return [{**facts, "code": order.code, "cancelled": int(order.cancelled), "body": body}]


def _recall_rows(_connection: sqlite3.Connection, recall: Recall) -> list[Row]:
    if recall.facts is None or recall.recalled is None:
        return []
    row = {
        "id": recall.id,
        "codes": ", ".join(recall.facts.codes),
        "cause": recall.facts.cause,
        "drill": int(recall.facts.drill),
        "started_ms": recall.recalled.at_ms,
        "finished_ms": recall.finished_ms,
    }
    return [row]


def _customer_rows(_connection: sqlite3.Connection, customer: Customer) -> list[Row]:
    if customer.name is None:
        return []
    names = {"id": customer.id, "name": customer.name, "contact": customer.contact}
    return [{**names, "business": int(customer.business)}]


def _house_rows(_connection: sqlite3.Connection, house: House) -> list[Row]:
    return [{"name": name, "value": json.dumps(value)} for name, value in house.settings.items()]


def _person_rows(_connection: sqlite3.Connection, person: Person) -> list[Row]:
    return [] if person.name is None else [{"id": person.id, "name": person.name, "shown": person.shown}]


def _machine_rows(_connection: sqlite3.Connection, machine: MachineHistory) -> list[Row]:
    if machine.machine is None:
        return []
    row = {
        "id": machine.id,
        "sheet": json.dumps(machine.sheet, ensure_ascii=False),
        "added_ms": min(line.at_ms for line in machine.lines if line.kind == "set_up"),
        "practice": int(machine.machine.practice),
    }
    return [row]


_BATCH_COLUMNS: Final = (
    *("code", "machine", "opened_entry", "opened_ms", "state", "lot", "coffee", "intent", "charged_ms"),
    *("dropped_ms", "green_g", "roasted_g", "development_s", "development_ratio", "roast_loss", "product"),
)
_RECALL_COLUMNS: Final = ("id", "codes", "cause", "drill", "started_ms", "finished_ms")
_PACK_COLUMNS: Final = ("code", "product", "source", "packed_ms", "bag_g", "count", "packaging", "best_before")
_PROJECTIONS: Final[Mapping[str, _Projection]] = {
    HOUSE: _Projection(
        "settings", "name", ("name", "value"), lambda entries, _: fold_house(entries), _house_rows, whole=True
    ),
    PERSON: _Projection("people", "id", ("id", "name", "shown"), fold_person, _person_rows),
    MACHINE: _Projection("machines", "id", ("id", "sheet", "added_ms", "practice"), fold_machine, _machine_rows),
    LOT: _Projection("lots", "code", LOT_COLUMNS, fold_lot, _lot_rows),
    BATCH: _Projection("batches", "code", _BATCH_COLUMNS, fold, _batch_rows, many=True),
    PRODUCT: _Projection("products", "code", ("code", "name", "closed", "body"), fold_product, _product_rows),
    BLEND: _Projection("blends", "code", ("code", "product", "blended_ms"), fold_blend, _blend_rows, many=True),
    PACK: _Projection("packs", "code", _PACK_COLUMNS, fold_pack, _pack_rows, many=True),
    ORDER: _Projection(
        "orders", "code", ("code", "customer", "due", "cancelled", "body"), fold_order, _order_rows, many=True
    ),
    RECALL: _Projection("recalls", "id", _RECALL_COLUMNS, fold_recall, _recall_rows),
    CUSTOMER: _Projection(
        "customers", "id", ("id", "name", "contact", "business"), fold_customer, _customer_rows, many=True
    ),
}
