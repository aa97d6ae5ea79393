"""The rows of all projections, in a form that a rebuild gives again."""

import sqlite3
from collections.abc import Mapping
from typing import Final

from roastlog.store import projections

_NAMED: Final = "(SELECT kind || ' ' || name FROM accounts WHERE id = {})".format
NUMBERED: Final[Mapping[str, str]] = {
    "accounts": "SELECT kind, name, grams FROM accounts"
    " WHERE id IN (SELECT source FROM movements UNION SELECT target FROM movements UNION SELECT account FROM counts)",
    "movements": f"SELECT subject, entry, at_ms, {_NAMED('source')}, {_NAMED('target')}, grams FROM movements",  # noqa: S608
    "counts": f"SELECT subject, entry, at_ms, {_NAMED('account')}, grams FROM counts",  # noqa: S608
}
"""Tables of the ledger, read by the names of accounts: a rebuild may number them in another order."""


def projection_rows(connection: sqlite3.Connection) -> dict[str, list[tuple[object, ...]]]:
    """All rows of all projections, sorted."""
    return {
        name: sorted(map(tuple, connection.execute(NUMBERED.get(name, f"SELECT * FROM {name}"))), key=repr)  # noqa: S608
        for name in projections.SCHEMA
    }
