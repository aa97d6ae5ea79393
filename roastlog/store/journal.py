"""Entries and the batches that they add up to: rows in, models out."""

import json
import secrets
import sqlite3
from collections.abc import Iterable
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from sqlite_utils import Database

from roastlog.curve.phases import development
from roastlog.journal.entries import By, Entry
from roastlog.journal.fold import Batch, fold
from roastlog.trace.codes import batch_code

TOKEN_BYTES = 16
OFTEN: Final = frozenset({"moment", "move", "trier", "aroma", "crack"})  # kinds whose bodies say the same again
SHORT: Final = 64  # characters; a longer body is hardly said twice
_NUMBER = "(SELECT id FROM words WHERE word = :{})".format
_ADD = f"""
    INSERT INTO entries (id, batch, machine, kind, at_ms, late_ms, person, device, body)
    VALUES (:id, {_NUMBER("batch")}, {_NUMBER("machine")}, {_NUMBER("kind")}, :at_ms, :late_ms,
        {_NUMBER("person")}, {_NUMBER("device")}, coalesce({_NUMBER("often")}, :body))"""  # noqa: S608 - our own names


def entry_of(row: sqlite3.Row) -> Entry:
    """The entry that a row holds. It was checked when it came in and is not checked again."""
    return Entry.model_construct(
        id=UUID(bytes=row["id"]),
        machine=row["machine"],
        batch=row["batch"],
        kind=row["kind"],
        at_ms=row["at_ms"],
        received_ms=row["received_ms"],
        by=By.model_construct(person=row["person"], device=row["device"]),
        body=json.loads(row["body"]),
    )


def entries_of(connection: sqlite3.Connection, code: str) -> list[Entry]:
    """All entries of a batch, in the order they came in."""
    rows = connection.execute("SELECT * FROM journal WHERE batch = ? ORDER BY seq", (code,))
    return [entry_of(row) for row in rows]


def entries_after(connection: sqlite3.Connection, machine: str, seq: int, limit: int = 1000) -> list[tuple[int, Entry]]:
    """What came in for a machine after ``seq``, with each entry's own number."""
    rows = connection.execute(
        "SELECT * FROM journal WHERE machine = ? AND seq > ? ORDER BY seq LIMIT ?", (machine, seq, limit)
    )
    return [(row["seq"], entry_of(row)) for row in rows]


def last_seq(connection: sqlite3.Connection) -> int:
    """Number of the newest entry of all; 0 when there is none."""
    return int(connection.execute("SELECT max(seq) FROM entries").fetchone()[0] or 0)


def known_batch(connection: sqlite3.Connection, entry_id: UUID) -> str | None:
    """The batch of an entry that is already kept."""
    row = connection.execute("SELECT batch FROM journal WHERE id = ?", (entry_id.bytes,)).fetchone()
    return None if row is None else str(row["batch"])


def kinds_about(connection: sqlite3.Connection, entry: Entry) -> list[str]:
    """The kind of an entry, and of what it is about, down to what was said first."""
    kinds, about, seen = [entry.kind], entry.body.get("entry"), {entry.id}
    while about is not None and UUID(str(about)) not in seen:
        seen.add(UUID(str(about)))
        row = connection.execute("SELECT kind, body FROM journal WHERE id = ?", (UUID(str(about)).bytes,)).fetchone()
        if row is None:
            break
        kinds.append(str(row["kind"]))
        about = json.loads(row["body"]).get("entry")
    return kinds


def batch_named(connection: sqlite3.Connection, reference: str) -> str | None:
    """Code of the batch that is named by its code or by the id of the entry that opened it."""
    row = connection.execute(
        "SELECT code FROM batches WHERE code = ? OR opened_entry = ?", (reference, reference)
    ).fetchone()
    return None if row is None else str(row["code"])


def machine_of(connection: sqlite3.Connection, code: str) -> str:
    """Id of the machine that a batch was opened on."""
    return str(connection.execute("SELECT machine FROM batches WHERE code = ?", (code,)).fetchone()[0])


def open_batch(db: Database, entry: Entry) -> str:
    """Give a new batch the next code of its day and an unguessable token; its row is filled in by `refold`."""
    day = datetime.fromtimestamp(entry.at_ms / 1000).astimezone().date()
    # By the code and not by the day: with two-digit years a phone whose clock is a century off shares a day's codes.
    span = f"{day:%y%j}-", f"{day:%y%j}-~"
    taken = db.conn.execute("SELECT max(number) FROM batches WHERE code BETWEEN ? AND ?", span).fetchone()[0]
    number = (taken or 0) + 1
    code = batch_code(day, number)
    db.table("batches").insert(
        {
            "code": code,
            "day": day.isoformat(),
            "number": number,
            "machine": entry.machine,
            "opened_entry": str(entry.id),
            "token": secrets.token_urlsafe(TOKEN_BYTES),
            "state": "open",
            "opened_ms": entry.at_ms,
        }
    )
    return code


def add_entry(db: Database, entry: Entry, code: str) -> int:
    """Keep an entry; its number in the journal."""
    body = json.dumps(entry.body, ensure_ascii=False)
    words = {
        "batch": code,
        "machine": entry.machine,
        "kind": entry.kind,
        "person": entry.by.person,
        "device": entry.by.device,
        "often": body if entry.kind in OFTEN and len(body) <= SHORT and "photo" not in entry.body else None,
    }
    db.conn.executemany(
        "INSERT OR IGNORE INTO words (word) VALUES (?)", [(word,) for word in words.values() if word is not None]
    )
    times = {"at_ms": entry.at_ms, "late_ms": entry.received_ms - entry.at_ms}
    cursor = db.conn.execute(_ADD, {**words, **times, "id": entry.id.bytes, "body": body})
    return int(cursor.lastrowid or 0)


def refold(db: Database, code: str) -> Batch:
    """Fold a batch anew and keep what lists need of it."""
    batch = fold(entries_of(db.conn, code), code)
    coffee = batch.facts.coffee
    if coffee is None and batch.facts.lot is not None:
        row = db.conn.execute("SELECT coffee FROM lots WHERE code = ?", (batch.facts.lot,)).fetchone()
        coffee = None if row is None else row["coffee"]
    db.table("batches").update(code, _summary(batch, coffee))
    return batch


def _summary(batch: Batch, coffee: str | None) -> dict[str, Any]:
    at_ms = {name: line.at_ms for name, line in batch.moments.items()}
    times_s = batch.moments_s
    grown = development(times_s, times_s["drop"]) if "drop" in times_s else None
    return {
        "state": batch.state,
        "lot": batch.facts.lot,
        "coffee": coffee,
        "intent": batch.facts.intent,
        "charged_ms": at_ms.get("charge"),
        "dropped_ms": at_ms.get("drop"),
        "green_g": batch.green_g,
        "roasted_g": batch.roasted_g,
        "development_s": None if grown is None else grown.time_s,
        "development_ratio": None if grown is None else grown.ratio,
        "roast_loss": batch.roast_loss,
    }


def add_many(db: Database, batches: Iterable[tuple[Entry, list[Entry]]]) -> list[str]:
    """Keep whole batches at once, each by its `opened` entry and the rest; their codes. Used when importing."""
    codes = []
    for opened, rest in batches:
        code = open_batch(db, opened)
        for entry in (opened, *rest):
            add_entry(db, entry, code)
        refold(db, code)
        codes.append(code)
    return codes
