"""The ledger in tables: movements, counts, and accounts with their balances. The journal's folds make all of it."""

import json
import sqlite3
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Final
from uuid import UUID

from sqlite_utils import Database

from roastlog.journal.fold import Account, Count, Movement, Postings
from roastlog.journal.fold.movements import PACKED, SOLD
from roastlog.journal.subject import Subject
from roastlog.trace.ledger import differences
from roastlog.trace.tree import Edge

SCHEMA: Final[Mapping[str, Sequence[str]]] = {
    "accounts": (
        """CREATE TABLE accounts (
            id INTEGER PRIMARY KEY, kind TEXT NOT NULL, name TEXT NOT NULL, grams INTEGER NOT NULL DEFAULT 0,
            UNIQUE (kind, name)
        ) STRICT""",
        # Present stock is read from here: of ten years of batches hardly any has coffee left.
        "CREATE INDEX accounts_held ON accounts (kind, name, grams) WHERE grams <> 0",
    ),
    "counts": (
        """CREATE TABLE counts (
            subject TEXT NOT NULL, entry BLOB NOT NULL, at_ms INTEGER NOT NULL, account INTEGER NOT NULL,
            grams INTEGER NOT NULL
        ) STRICT""",
        "CREATE INDEX counts_by_subject ON counts (subject)",
        "CREATE INDEX counts_by_account ON counts (account, at_ms)",
    ),
    "movements": (
        """CREATE TABLE movements (
            subject TEXT NOT NULL, entry BLOB NOT NULL, at_ms INTEGER NOT NULL, source INTEGER NOT NULL,
            target INTEGER NOT NULL, grams INTEGER NOT NULL CHECK (grams > 0)
        ) STRICT""",
        "CREATE INDEX movements_by_subject ON movements (subject)",
        "CREATE INDEX movements_by_source ON movements (source, at_ms, target, grams)",
        "CREATE INDEX movements_by_target ON movements (target, at_ms, source, grams)",
        # Balances follow each row, so that no code can forget one.
        """CREATE TRIGGER movement_made AFTER INSERT ON movements BEGIN
            UPDATE accounts SET grams = grams - new.grams WHERE id = new.source;
            UPDATE accounts SET grams = grams + new.grams WHERE id = new.target;
        END""",
        """CREATE TRIGGER movement_gone AFTER DELETE ON movements BEGIN
            UPDATE accounts SET grams = grams + old.grams WHERE id = old.source;
            UPDATE accounts SET grams = grams - old.grams WHERE id = old.target;
        END""",
    ),
}
_FOUND: Final = "difference "
"""Begins the ``subject`` of movements that counts of an account made; no subject begins so."""
_MOVEMENTS: Final = """
    SELECT at_ms, entry, sources.kind AS source_kind, sources.name AS source_name,
        targets.kind AS target_kind, targets.name AS target_name, movements.grams AS grams
    FROM movements JOIN accounts AS sources ON sources.id = source JOIN accounts AS targets ON targets.id = target"""
_BY_TIME: Final = "ORDER BY at_ms, entry, source_kind, source_name, target_kind, target_name"


def post(db: Database, subject: Subject, postings: Postings) -> None:
    """Have the ledger hold what a subject brings to it now, in place of what it brought before."""
    connection, about = db.conn, str(subject)
    before, counted = _postings(connection, about)
    if before == sorted(postings.movements) and counted == sorted(postings.counts):
        return
    connection.execute("DELETE FROM movements WHERE subject = ?", (about,))
    connection.execute("DELETE FROM counts WHERE subject = ?", (about,))
    add(db, subject, postings)
    changed = {account for one in (*before, *postings.movements) for account in (one.source, one.target)}
    settle(db, changed | {count.account for count in (*counted, *postings.counts)})


def add(db: Database, subject: Subject, postings: Postings) -> None:
    """Add what a subject brings to a ledger that has nothing of it; `settle` then brings counted accounts in line."""
    _insert(db.conn, str(subject), postings.movements)
    db.conn.executemany(
        "INSERT INTO counts (subject, entry, at_ms, account, grams) VALUES (?, ?, ?, ?, ?)",
        [
            (str(subject), one.entry.bytes, one.at_ms, _number(db.conn, one.account), one.grams)
            for one in postings.counts
        ],
    )


def settle(db: Database, accounts: Collection[Account] | None = None) -> None:
    """Find anew by how much counts of accounts differ from the books; of all accounts where none are named."""
    named = "SELECT DISTINCT kind, name FROM counts JOIN accounts ON accounts.id = account"
    counted = {Account(*row) for row in db.conn.execute(named)} if accounts is None else accounts
    for account in counted:
        about = f"{_FOUND}{account}"
        number = _known_number(db.conn, account)
        db.conn.execute("DELETE FROM movements WHERE subject = ?", (about,))
        counts = [
            Count(row["at_ms"], UUID(bytes=row["entry"]), account, row["grams"])
            for row in db.conn.execute("SELECT at_ms, entry, grams FROM counts WHERE account = ?", (number,))
        ]
        if counts:
            _insert(db.conn, about, differences(account, movements(db.conn, account), counts))


def balance_g(connection: sqlite3.Connection, account: Account) -> int:
    """Grams that an account holds."""
    row = connection.execute("SELECT grams FROM accounts WHERE kind = ? AND name = ?", account).fetchone()
    return 0 if row is None else int(row[0])


def balances(connection: sqlite3.Connection, kind: str | None = None) -> dict[Account, int]:
    """Accounts of a kind, or all, that something ever moved through, with the grams that they hold."""
    rows = connection.execute(
        "SELECT kind, name, grams FROM accounts WHERE coalesce(kind = ?, TRUE) ORDER BY kind, name", (kind,)
    )
    return {Account(row["kind"], row["name"]): row["grams"] for row in rows}


def held_g(connection: sqlite3.Connection, accounts: Iterable[Account]) -> dict[Account, int]:
    """Grams that some accounts hold; those that nothing ever moved through are left out."""
    rows = connection.execute(
        "SELECT kind, name, grams FROM accounts"
        " WHERE (kind, name) IN (SELECT json_extract(value, '$[0]'), json_extract(value, '$[1]') FROM json_each(?))",
        (json.dumps(list(accounts)),),
    )
    return {Account(row["kind"], row["name"]): row["grams"] for row in rows}


def movements(
    connection: sqlite3.Connection,
    account: Account | None = None,
    *,
    from_ms: int = 0,
    to_ms: int = 1 << 62,
    limit: int = -1,
) -> list[Movement]:
    """Movements of an account, or of all, within a time, oldest first. [ms UTC]"""
    span = "at_ms BETWEEN ? AND ?"
    if account is None:
        rows = connection.execute(f"{_MOVEMENTS} WHERE {span} {_BY_TIME} LIMIT ?", (from_ms, to_ms, limit))
    else:
        number = _known_number(connection, account)
        both = f"{_MOVEMENTS} WHERE source = ? AND {span} UNION ALL {_MOVEMENTS} WHERE target = ? AND {span}"
        rows = connection.execute(f"{both} {_BY_TIME} LIMIT ?", (number, from_ms, to_ms, number, from_ms, to_ms, limit))
    return [_movement(row) for row in rows]


def used_g(connection: sqlite3.Connection, kind: str, since_ms: int) -> dict[str, int]:
    """Grams that left each account of a kind since a time, for an account with a name, by the account's name."""
    rows = connection.execute(
        "SELECT sources.name, sum(movements.grams) FROM accounts AS sources"
        " CROSS JOIN movements ON source = sources.id AND at_ms >= ? JOIN accounts AS targets ON targets.id = target"
        " WHERE sources.kind = ? AND targets.name <> '' GROUP BY sources.id",
        (since_ms, kind),
    )
    return dict(map(tuple, rows))


def last_counts(connection: sqlite3.Connection, kind: str) -> dict[str, tuple[int, int]]:
    """The last count of each account of a kind, by the account's name: its time, and the grams found over the books."""
    rows = connection.execute(
        """
        WITH newest AS (SELECT account, entry, max(at_ms) AS at_ms FROM counts GROUP BY account)
        SELECT name, newest.at_ms,
            coalesce(sum(CASE WHEN target = account THEN movements.grams ELSE -movements.grams END), 0)
        FROM newest JOIN accounts ON accounts.id = account
        LEFT JOIN movements ON movements.subject = ? || kind || ' ' || name AND movements.entry = newest.entry
        WHERE kind = ? GROUP BY name""",
        (_FOUND, kind),
    )
    return {row[0]: (row[1], row[2]) for row in rows}


def reached(connection: sqlite3.Connection, starts: Iterable[Account], *, back: bool = False) -> list[Edge]:
    """Summed movements between all accounts that coffee of some accounts went into, or ``back``, was made of."""
    near, far = ("target", "source") if back else ("source", "target")
    numbers = [number for start in starts if (number := _known_number(connection, start)) is not None]
    rows = connection.execute(
        f"""
        WITH RECURSIVE reached (id) AS (
            SELECT value FROM json_each(?)
            UNION
            SELECT accounts.id FROM reached JOIN movements ON {near} = reached.id JOIN accounts ON accounts.id = {far}
            WHERE accounts.name <> '' AND accounts.kind <> ?
        )
        SELECT source, target, sum(grams) FROM reached JOIN movements ON {near} = reached.id GROUP BY 1, 2""",  # noqa: S608
        (json.dumps(numbers), SOLD),
    ).fetchall()
    used = json.dumps(list({number for row in rows for number in row[:2]}))
    found = connection.execute(
        "SELECT id, kind, name FROM accounts WHERE id IN (SELECT value FROM json_each(?))", (used,)
    )
    accounts = {number: Account(kind, name) for number, kind, name in found}
    return [Edge(accounts[source], accounts[target], grams) for source, target, grams in rows]


def with_customers(connection: sqlite3.Connection, packs: Iterable[str]) -> dict[tuple[str, str], int]:
    """Grams of some packs that customers have, less those that they returned, by pack and customer."""
    sql = """
        SELECT own.name AS pack, other.name AS customer, sum(signed) AS grams FROM (
            SELECT source AS pack, target AS customer, grams AS signed FROM movements
            UNION ALL SELECT target, source, -grams FROM movements
        ) AS moved
        JOIN accounts AS own ON own.id = moved.pack JOIN accounts AS other ON other.id = moved.customer
        WHERE own.id IN (SELECT id FROM accounts WHERE kind = ? AND name IN (SELECT value FROM json_each(?)))
            AND other.kind = ?
        GROUP BY own.id, other.id ORDER BY 1, 2"""
    rows = connection.execute(sql, (PACKED, json.dumps(list(packs)), SOLD))
    return {(row["pack"], row["customer"]): row["grams"] for row in rows}


def fault(connection: sqlite3.Connection) -> str | None:
    """A fault that a quick check finds in the ledger; None without one. A missing table is an OperationalError."""
    connection.execute("SELECT 1 FROM movements JOIN counts USING (subject, entry, at_ms, grams) LIMIT 0")
    total_g = connection.execute("SELECT coalesce(sum(grams), 0) FROM accounts").fetchone()[0]
    return f"the accounts add up to {total_g} g instead of 0" if total_g else None


def _postings(connection: sqlite3.Connection, about: str) -> tuple[list[Movement], list[Count]]:
    moved = [_movement(row) for row in connection.execute(f"{_MOVEMENTS} WHERE subject = ?", (about,))]
    counted = connection.execute(
        "SELECT at_ms, entry, kind, name, counts.grams AS grams FROM counts JOIN accounts ON accounts.id = account"
        " WHERE subject = ?",
        (about,),
    )
    counts = [
        Count(row["at_ms"], UUID(bytes=row["entry"]), Account(row["kind"], row["name"]), row["grams"])
        for row in counted
    ]
    return sorted(moved), sorted(counts)


def _insert(connection: sqlite3.Connection, about: str, made: Iterable[Movement]) -> None:
    connection.executemany(
        "INSERT INTO movements (subject, entry, at_ms, source, target, grams) VALUES (?, ?, ?, ?, ?, ?)",
        [
            (
                about,
                one.entry.bytes,
                one.at_ms,
                _number(connection, one.source),
                _number(connection, one.target),
                one.grams,
            )
            for one in made
        ],
    )


def _number(connection: sqlite3.Connection, account: Account) -> int:
    connection.execute("INSERT OR IGNORE INTO accounts (kind, name) VALUES (?, ?)", account)
    number = _known_number(connection, account)
    assert number is not None  # noqa: S101 - the line above made it
    return number


def _known_number(connection: sqlite3.Connection, account: Account) -> int | None:
    row = connection.execute("SELECT id FROM accounts WHERE kind = ? AND name = ?", account).fetchone()
    return None if row is None else int(row[0])


def _movement(row: sqlite3.Row) -> Movement:
    return Movement(
        row["at_ms"],
        UUID(bytes=row["entry"]),
        Account(row["source_kind"], row["source_name"]),
        Account(row["target_kind"], row["target_name"]),
        row["grams"],
    )
