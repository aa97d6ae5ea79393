"""Names of what coffee moves through: lots, batches, blends, packs and customers."""

import json
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from roastlog.journal.fold import Account
from roastlog.journal.fold.movements import GREEN, PACKED, ROASTED, SOLD
from roastlog.journal.subject import BATCH, BLEND, CUSTOMER, LOT, PACK, Subject

_PRODUCT: Final = "(SELECT name FROM products WHERE products.code = {}.product)"
_SOURCE: Final = "(SELECT coalesce(coffee, lot) FROM batches WHERE batches.code = packs.source)"
_TITLES: Final[Mapping[str, tuple[str, str, str]]] = {
    LOT: (GREEN, "code", "SELECT code, coffee FROM lots"),
    BATCH: (ROASTED, "code", "SELECT code, coalesce(coffee, lot) FROM batches"),
    BLEND: (ROASTED, "code", f"SELECT code, {_PRODUCT.format('blends')} FROM blends"),  # noqa: S608 - our own names
    PACK: (
        PACKED,
        "code",
        f"SELECT code, coalesce({_PRODUCT.format('packs')}, {_SOURCE}) FROM packs",  # noqa: S608 - our own names
    ),
    CUSTOMER: (SOLD, "id", "SELECT id, name FROM customers"),
}
"""By kind of subject: the kind of its account, its key, and the query for its name."""


@dataclass(frozen=True)
class Title:
    """A kind of subject and its name for people, if it has one."""

    kind: str
    title: str | None


def named(connection: sqlite3.Connection, code: str) -> Subject | None:
    """The subject with a code; None if there is none."""
    for kind, (_, key, select) in _TITLES.items():
        row = connection.execute(f"{select} WHERE {key} = ?", (code,)).fetchone()
        if row is not None:
            return Subject(kind, row[0])
    return None


def titles(connection: sqlite3.Connection, accounts: Iterable[Account]) -> dict[Account, Title]:
    """The names of accounts, with the kinds of their subjects. One that is not listed keeps its kind alone."""
    names: dict[str, list[str]] = {}
    for account in accounts:
        names.setdefault(account.kind, []).append(account.name)
    found: dict[Account, Title] = {}
    for kind, (account_kind, key, select) in _TITLES.items():
        wanted = names.get(account_kind, [])
        only = f"{select} WHERE {key} IN (SELECT value FROM json_each(?))"  # noqa: S608 - our own names
        rows = connection.execute(only, (json.dumps(wanted),))
        found |= {Account(account_kind, row[0]): Title(kind, row[1]) for row in rows} if wanted else {}
        if kind != BLEND:
            found = {Account(account_kind, name): Title(kind, None) for name in wanted} | found
    return found


@dataclass(frozen=True)
class CustomerRow:
    """A customer whose name is known."""

    id: str
    name: str
    contact: str | None
    business: bool


def customers(connection: sqlite3.Connection, ids: Iterable[str]) -> dict[str, CustomerRow]:
    """Some customers by id, without those whose names were erased."""
    rows = connection.execute(
        "SELECT id, name, contact, business FROM customers WHERE id IN (SELECT value FROM json_each(?))",
        (json.dumps(list(ids)),),
    )
    return {row[0]: CustomerRow(row[0], row[1], row[2], bool(row[3])) for row in rows}


def packs(connection: sqlite3.Connection, codes: Iterable[str]) -> list[tuple[str, int, int, str | None]]:
    """Code, weight of a bag, number of bags and best-before of some packs, oldest first. [g]"""
    rows = connection.execute(
        "SELECT code, bag_g, count, best_before FROM packs WHERE code IN (SELECT value FROM json_each(?))"
        " ORDER BY packed_ms, code",
        (json.dumps(list(codes)),),
    )
    return [(row[0], row[1], row[2], row[3]) for row in rows]


def sold_packs(connection: sqlite3.Connection, limit: int) -> list[str]:
    """Codes of the packs of which bags were sold last, newest first."""
    rows = connection.execute(
        "SELECT sources.name FROM movements JOIN accounts AS sources ON sources.id = source"
        " JOIN accounts AS targets ON targets.id = target WHERE sources.kind = ? AND targets.kind = ?"
        " GROUP BY sources.id ORDER BY max(at_ms) DESC LIMIT ?",
        (PACKED, SOLD, limit),
    )
    return [row[0] for row in rows]


def first_sale_ms(connection: sqlite3.Connection) -> int | None:
    """When a customer got bags for the first time; None before. [ms UTC]"""
    row = connection.execute(
        "SELECT min(at_ms) FROM movements JOIN accounts ON accounts.id = target WHERE kind = ?", (SOLD,)
    ).fetchone()
    return None if row[0] is None else int(row[0])


def recalls(connection: sqlite3.Connection) -> list[tuple[str, str, str, bool, int, int | None]]:
    """Id, codes, cause, whether it is a drill, start and end of all recalls, newest first. [ms UTC]"""
    rows = connection.execute(
        "SELECT id, codes, cause, drill, started_ms, finished_ms FROM recalls ORDER BY started_ms DESC, id"
    )
    return [(row[0], row[1], row[2], bool(row[3]), row[4], row[5]) for row in rows]
