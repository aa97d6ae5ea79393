"""The journal: entries in, entries out. What they add up to is kept by `roastlog.store.projections`."""

import json
import sqlite3
from collections.abc import Iterator, Sequence
from typing import Any, Final
from uuid import UUID

from sqlite_utils import Database

from roastlog.journal.entries import By, Entry
from roastlog.journal.kinds import REGISTRY
from roastlog.journal.subject import BATCH, PERSON, Subject

SHORT: Final = 64  # characters; a longer body is hardly said twice
_NUMBER = "(SELECT id FROM words WHERE word = :{})".format
_ADD = f"""
    INSERT INTO entries (id, about, machine, kind, at_ms, late_ms, person, device, body)
    VALUES (:id, {_NUMBER("about")}, {_NUMBER("machine")}, {_NUMBER("kind")}, :at_ms, :late_ms,
        {_NUMBER("person")}, {_NUMBER("device")}, coalesce({_NUMBER("repeated")}, :body))"""  # noqa: S608 - our own names


def entries_about(connection: sqlite3.Connection, subject: Subject) -> list[Entry]:
    """All entries about a subject, in the order they came in."""
    rows = connection.execute("SELECT * FROM journal WHERE about = ? ORDER BY seq", (str(subject),))
    return _whole(connection, [_entry(row) for row in rows])


def entries_of(connection: sqlite3.Connection, code: str) -> list[Entry]:
    """All entries of a batch, in the order they came in."""
    return entries_about(connection, Subject(BATCH, code))


def entries_after(connection: sqlite3.Connection, machine: str, seq: int, limit: int = 1000) -> list[tuple[int, Entry]]:
    """What came in after ``seq`` for the batches of a machine, with each entry's own number."""
    rows = connection.execute(
        "SELECT * FROM journal WHERE machine = ? AND seq > ? ORDER BY seq LIMIT ?", (machine, seq, limit)
    )
    return [(row["seq"], _entry(row)) for row in rows]


def all_entries(connection: sqlite3.Connection, kind: str) -> Iterator[tuple[Subject, list[Entry]]]:
    """Every subject of a kind with its entries, one subject after the other."""
    words = connection.execute(
        "SELECT word FROM words WHERE word = ? OR word GLOB ? ORDER BY word", (kind, f"{kind} *")
    )
    for (about,) in words.fetchall():
        entries = entries_about(connection, Subject.kept(about))
        if entries:  # else it is a word of somebody's that happens to look like a subject
            yield Subject.kept(about), entries


def last_seq(connection: sqlite3.Connection) -> int:
    """Number of the newest entry of all; 0 when there is none."""
    return int(connection.execute("SELECT max(seq) FROM entries").fetchone()[0] or 0)


def last_ms(connection: sqlite3.Connection, subject: Subject) -> int:
    """The latest time that anything was said of a subject; -1 where nothing was. [ms UTC]"""
    row = connection.execute("SELECT max(at_ms) FROM journal WHERE about = ?", (str(subject),)).fetchone()
    return -1 if row[0] is None else int(row[0])


def known_subject(connection: sqlite3.Connection, entry_id: UUID) -> Subject | None:
    """What an entry that is already kept is about."""
    row = connection.execute("SELECT about FROM journal WHERE id = ?", (entry_id.bytes,)).fetchone()
    return None if row is None else Subject.kept(row["about"])


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


def add_entry(db: Database, entry: Entry) -> int:
    """Keep an entry whose subject is settled; its number in the journal."""
    said, erasable = _parted(entry)
    body = json.dumps(said, ensure_ascii=False)
    row = REGISTRY.get(entry.kind)
    repeats = row is not None and row.repeats and len(body) <= SHORT and "photo" not in said
    words = {
        "about": entry.about,
        "machine": entry.machine,
        "kind": entry.kind,
        "person": entry.by.person,
        "device": entry.by.device,
        "repeated": body if repeats else None,
    }
    db.conn.executemany(
        "INSERT OR IGNORE INTO words (word) VALUES (?)", [(word,) for word in words.values() if word is not None]
    )
    times = {"at_ms": entry.at_ms, "late_ms": entry.received_ms - entry.at_ms}
    cursor = db.conn.execute(_ADD, {**words, **times, "id": entry.id.bytes, "body": body})
    if erasable:
        kept = json.dumps(erasable, ensure_ascii=False)
        db.conn.execute("INSERT INTO erasable (entry, body) VALUES (?, ?)", (entry.id.bytes, kept))
    return int(cursor.lastrowid or 0)


def erase(db: Database, ident: str, names: Sequence[str]) -> None:
    """Erase the names of a person: those that their own entries hold, and the ones that they said others by.

    The entries themselves stay, each with who said it as “erased” and the id.
    """
    db.conn.execute("PRAGMA secure_delete = ON")
    subject = Subject(PERSON, ident)
    ids = [(row["id"],) for row in db.conn.execute("SELECT id FROM journal WHERE about = ?", (str(subject),))]
    db.conn.executemany("DELETE FROM erasable WHERE entry = ?", ids)
    instead = f"erased {ident}"
    db.conn.execute("INSERT OR IGNORE INTO words (word) VALUES (?)", (instead,))
    used = " OR ".join(f"{column} = words.id" for column in ("about", "machine", "kind", "person", "device"))
    for name in names:
        number = "(SELECT id FROM words WHERE word = ?)"
        db.conn.execute(f"UPDATE entries SET person = {number} WHERE person = {number}", (instead, name))  # noqa: S608
        db.conn.execute(
            f"DELETE FROM words WHERE word = ? AND NOT EXISTS (SELECT 1 FROM entries WHERE {used})",  # noqa: S608
            (name,),
        )


def _parted(entry: Entry) -> tuple[dict[str, Any], dict[str, Any]]:
    """A body in what the journal holds and what is kept beside it, to be erased when the law asks."""
    row = REGISTRY.get(entry.kind)
    apart = () if row is None else row.erasable
    return (
        {name: value for name, value in entry.body.items() if name not in apart},
        {name: value for name, value in entry.body.items() if name in apart},
    )


def _whole(connection: sqlite3.Connection, entries: list[Entry]) -> list[Entry]:
    """The entries with what is kept beside the journal and not erased."""
    return [
        _with_erasable(connection, entry) if entry.kind in REGISTRY and REGISTRY[entry.kind].erasable else entry
        for entry in entries
    ]


def _with_erasable(connection: sqlite3.Connection, entry: Entry) -> Entry:
    row = connection.execute("SELECT body FROM erasable WHERE entry = ?", (entry.id.bytes,)).fetchone()
    return entry if row is None else entry.model_copy(update={"body": {**entry.body, **json.loads(row["body"])}})


def _entry(row: sqlite3.Row) -> Entry:
    """The entry that a row holds. It was checked when it came in and is not checked again."""
    return Entry.model_construct(
        id=UUID(bytes=row["id"]),
        about=row["about"],
        machine=row["machine"],
        kind=row["kind"],
        at_ms=row["at_ms"],
        received_ms=row["received_ms"],
        by=By.model_construct(person=row["person"], device=row["device"]),
        body=json.loads(row["body"]),
    )
