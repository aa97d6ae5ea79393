"""The journal: entries written and read. `roastlog.store.projections` stores their folded state."""

import json
import math
import sqlite3
from collections.abc import Iterator, Sequence
from typing import Any, Final
from uuid import UUID, uuid4

from sqlite_utils import Database

from roastlog.journal.entries import By, Entry
from roastlog.journal.kinds import REGISTRY
from roastlog.journal.subject import BATCH, HOUSE, Subject

SHORT: Final = 64  # characters; longer bodies hardly ever repeat
_ERASED: Final = "erased "
_NUMBER = "(SELECT id FROM words WHERE word = :{})".format
_ADD = f"""
    INSERT INTO entries (id, about, machine, kind, at_ms, late_ms, person, device, body)
    VALUES (:id, {_NUMBER("about")}, {_NUMBER("machine")}, {_NUMBER("kind")}, :at_ms, :late_ms,
        {_NUMBER("person")}, {_NUMBER("device")}, coalesce({_NUMBER("repeated")}, :body))"""  # noqa: S608 - our own names


def entries_about(connection: sqlite3.Connection, subject: Subject) -> list[Entry]:
    """All entries about a subject, in the order they came in."""
    rows = connection.execute("SELECT * FROM journal WHERE about = ? ORDER BY seq", (str(subject),))
    return _with_erasables(connection, [_entry(row) for row in rows])


def entries_of(connection: sqlite3.Connection, code: str) -> list[Entry]:
    """All entries of a batch, in the order they came in."""
    return entries_about(connection, Subject(BATCH, code))


def entries_since(connection: sqlite3.Connection, code: str, seq: int) -> list[tuple[int, Entry]]:
    """Entries of a batch after ``seq``, each with its number."""
    rows = connection.execute(
        "SELECT * FROM journal WHERE about = ? AND seq > ? ORDER BY seq", (str(Subject(BATCH, code)), seq)
    )
    numbered = [(row["seq"], _entry(row)) for row in rows]
    entries = _with_erasables(connection, [entry for _, entry in numbered])
    return [(number, entry) for (number, _), entry in zip(numbered, entries, strict=True)]


def erasures(connection: sqlite3.Connection) -> int:
    """A number that grows whenever the names of a person are erased from stored entries."""
    return int(connection.execute("SELECT count(*) FROM words WHERE word GLOB ?", (f"{_ERASED}*",)).fetchone()[0])


def entries_after(connection: sqlite3.Connection, machine: str, seq: int, limit: int = 1000) -> list[tuple[int, Entry]]:
    """Entries after ``seq`` about the batches of a machine, each with its number."""
    rows = connection.execute(
        "SELECT * FROM journal WHERE machine = ? AND seq > ? ORDER BY seq LIMIT ?", (machine, seq, limit)
    )
    return [(row["seq"], _entry(row)) for row in rows]


def all_entries(connection: sqlite3.Connection, kind: str) -> Iterator[tuple[Subject, list[Entry]]]:
    """Every subject of a kind with its entries, ordered by subject."""
    words = connection.execute(
        "SELECT word FROM words WHERE word = ? OR word GLOB ? ORDER BY word", (kind, f"{kind} *")
    )
    for (about,) in words.fetchall():
        entries = entries_about(connection, Subject.kept(about))
        if entries:  # else the word is not a subject but only looks like one
            yield Subject.kept(about), entries


def last_seq(connection: sqlite3.Connection) -> int:
    """Number of the newest entry in the journal; 0 if it is empty."""
    return int(connection.execute("SELECT max(seq) FROM entries").fetchone()[0] or 0)


def last_ms(connection: sqlite3.Connection, subject: Subject, until_ms: float = math.inf) -> int:
    """Time of the latest entry about a subject up to a time; -1 without one. [ms UTC]"""
    sql = "SELECT max(at_ms) FROM journal WHERE about = ? AND at_ms <= ?"
    row = connection.execute(sql, (str(subject), until_ms)).fetchone()
    return -1 if row[0] is None else int(row[0])


def names(connection: sqlite3.Connection, kind: str, begins: str) -> list[str]:
    """Names of all subjects of a kind that begin so, those too whose entries are undone."""
    start = f"{kind} {begins}"
    rows = connection.execute("SELECT word FROM words WHERE word >= ? AND word < ?", (start, start + "\U0010ffff"))
    return [Subject.kept(row[0]).name for row in rows]


def known_subject(connection: sqlite3.Connection, entry_id: UUID) -> Subject | None:
    """Subject of a stored entry; None if the entry is not stored."""
    row = connection.execute("SELECT about FROM journal WHERE id = ?", (entry_id.bytes,)).fetchone()
    return None if row is None else Subject.kept(row["about"])


def joined_to(connection: sqlite3.Connection, reference: str) -> str | None:
    """Code of the batch that an opening was joined to, by the id of the opening; None if it was not joined."""
    try:
        ident = UUID(reference)
    except ValueError:
        return None
    row = connection.execute("SELECT about FROM journal WHERE id = ? AND kind = 'joined'", (ident.bytes,)).fetchone()
    return None if row is None else Subject.kept(row["about"]).name


def kinds_about(connection: sqlite3.Connection, entry: Entry) -> list[str | None]:
    """Kind of an entry, of the entry that it corrects, and so on down to the first; None last for one not here."""
    kinds: list[str | None] = [entry.kind]
    about, seen = entry.body.get("entry"), {entry.id}
    while about is not None and UUID(str(about)) not in seen:
        seen.add(UUID(str(about)))
        row = connection.execute("SELECT kind, body FROM journal WHERE id = ?", (UUID(str(about)).bytes,)).fetchone()
        if row is None:
            return [*kinds, None]
        kinds.append(str(row["kind"]))
        about = json.loads(row["body"]).get("entry")
    return kinds


def add_entry(db: Database, entry: Entry) -> int:
    """Store an entry that has its subject; returns its number in the journal."""
    plain, erasable = _split_erasable(entry)
    body = json.dumps(plain, ensure_ascii=False)
    row = REGISTRY.get(entry.kind)
    repeats = row is not None and row.repeats and len(body) <= SHORT and "photo" not in plain
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


def newest_subject(connection: sqlite3.Connection) -> Subject:
    """Subject of the newest entry in the journal; the house if it is empty."""
    row = connection.execute("SELECT about FROM journal ORDER BY seq DESC LIMIT 1").fetchone()
    return Subject(HOUSE) if row is None else Subject.kept(row["about"])


def try_entry(db: Database) -> None:
    """Store an entry and raise `TakenBack`, which rolls it back; another error shows that none can be stored now."""
    trial = Entry.model_construct(
        id=uuid4(), about=str(newest_subject(db.conn)), kind="note", at_ms=0, received_ms=0, by=By(), body={}
    )
    add_entry(db, trial)
    raise TakenBack


class TakenBack(Exception):
    """Rolls back the entry of `try_entry`."""


def erase(db: Database, subject: Subject, names: Sequence[str]) -> None:
    """Erase what is kept beside the entries of a subject, and names as the author of others.

    The entries stay; their author becomes “erased” and the person's id.
    """
    db.conn.execute("PRAGMA secure_delete = ON")
    ids = [(row["id"],) for row in db.conn.execute("SELECT id FROM journal WHERE about = ?", (str(subject),))]
    db.conn.executemany("DELETE FROM erasable WHERE entry = ?", ids)
    instead = f"{_ERASED}{subject.name}"
    db.conn.execute("INSERT OR IGNORE INTO words (word) VALUES (?)", (instead,))
    used = " OR ".join(f"{column} = words.id" for column in ("about", "machine", "kind", "person", "device"))
    for name in names:
        number = "(SELECT id FROM words WHERE word = ?)"
        db.conn.execute(f"UPDATE entries SET person = {number} WHERE person = {number}", (instead, name))  # noqa: S608
        db.conn.execute(
            f"DELETE FROM words WHERE word = ? AND NOT EXISTS (SELECT 1 FROM entries WHERE {used})",  # noqa: S608
            (name,),
        )


def _split_erasable(entry: Entry) -> tuple[dict[str, Any], dict[str, Any]]:
    """The fields of a body that the journal holds, and the erasable ones, which are stored beside it."""
    row = REGISTRY.get(entry.kind)
    erasable = () if row is None else row.erasable
    return (
        {name: value for name, value in entry.body.items() if name not in erasable},
        {name: value for name, value in entry.body.items() if name in erasable},
    )


def _with_erasables(connection: sqlite3.Connection, entries: list[Entry]) -> list[Entry]:
    """The entries with their erasable fields, where those are not erased."""
    return [
        _with_erasable(connection, entry) if entry.kind in REGISTRY and REGISTRY[entry.kind].erasable else entry
        for entry in entries
    ]


def _with_erasable(connection: sqlite3.Connection, entry: Entry) -> Entry:
    row = connection.execute("SELECT body FROM erasable WHERE entry = ?", (entry.id.bytes,)).fetchone()
    return entry if row is None else entry.model_copy(update={"body": {**entry.body, **json.loads(row["body"])}})


def _entry(row: sqlite3.Row) -> Entry:
    """The entry of a row. It was validated when it came in and is not validated again."""
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
