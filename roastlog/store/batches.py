"""Lists of batches, read from their summary rows."""

import json
import secrets
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from itertools import count
from typing import Final

from sqlite_utils import Database

from roastlog.languages import _
from roastlog.trace.codes import batch_code, parse_code

TOKEN_BYTES: Final = 16
MISREAD: Final = "IO"  # as check characters; the next number of the day is taken instead
_DAY_MS: Final = 86_400_000


@dataclass(frozen=True)
class BatchSummary:
    """A batch as lists show it. Times are UTC ms, masses g, durations s."""

    code: str
    machine: str
    token: str
    state: str
    lot: str | None
    coffee: str | None
    intent: str | None
    opened_ms: int
    charged_ms: int | None
    dropped_ms: int | None
    green_g: float | None
    roasted_g: float | None
    development_s: float | None
    development_ratio: float | None
    roast_loss: float | None
    product: str | None

    @property
    def duration_s(self) -> float | None:
        """Time from charge to drop; None until both are known. [s]"""
        if self.charged_ms is None or self.dropped_ms is None:
            return None
        return (self.dropped_ms - self.charged_ms) / 1000

    @property
    def title(self) -> str:
        """Name of the coffee, else of the lot, else a phrase for neither."""
        return self.coffee or self.lot or _("Unnamed batch")


@dataclass(frozen=True)
class Page:
    """One page of a list."""

    items: list[BatchSummary]
    page: int
    pages: int
    total: int


_TOKEN = "(SELECT token FROM bags WHERE bags.code = batches.code) AS token"  # noqa: S105 - a column
_COLUMNS = ", ".join(_TOKEN if field.name == "token" else field.name for field in fields(BatchSummary))
_SELECT = f"SELECT {_COLUMNS} FROM batches"  # noqa: S608 - our own column names


def _summaries(connection: sqlite3.Connection, where: str, values: tuple[object, ...] = ()) -> list[BatchSummary]:
    return [BatchSummary(*row) for row in connection.execute(f"{_SELECT} {where}", values)]


def not_on(machines: Sequence[str]) -> str:
    """A condition that leaves machines out; by code, because the index that lists are read from has it."""
    if not machines:
        return "TRUE"
    return f"code NOT IN (SELECT code FROM batches WHERE machine IN ({', '.join('?' * len(machines))}))"  # noqa: S608


def summary(connection: sqlite3.Connection, code: str) -> BatchSummary | None:
    """One batch by its code."""
    found = _summaries(connection, "WHERE code = ?", (code,))
    return found[0] if found else None


def named(connection: sqlite3.Connection, codes: Sequence[str]) -> list[BatchSummary]:
    """The batches with these codes, newest first; an unknown code has none."""
    return _summaries(
        connection,
        "WHERE code IN (SELECT value FROM json_each(?)) ORDER BY opened_ms DESC, code DESC",
        (json.dumps(codes),),
    )


def by_token(connection: sqlite3.Connection, token: str) -> BatchSummary | None:
    """One batch by the token of its bag page."""
    found = _summaries(connection, "WHERE code = (SELECT code FROM bags WHERE token = ?)", (token,))
    return found[0] if found else None


def batch_named(connection: sqlite3.Connection, reference: str) -> str | None:
    """Code of a batch, looked up by its code or by the id of its `opened` entry; None if there is none."""
    row = connection.execute(
        "SELECT code FROM batches WHERE code = ? OR opened_entry = ?", (reference, reference)
    ).fetchone()
    return None if row is None else str(row["code"])


def not_dropped_at(connection: sqlite3.Connection, machine: str, at_ms: int) -> list[BatchSummary]:
    """Batches of a machine opened within a day of a time that were not dropped before it; oldest first. [ms UTC]"""
    return _summaries(
        connection,
        "WHERE machine = ? AND opened_ms BETWEEN ? AND ? AND state <> 'discarded' AND coalesce(dropped_ms > ?, 1)"
        " ORDER BY opened_ms, code",
        (machine, at_ms - _DAY_MS, at_ms + _DAY_MS, at_ms),
    )


def charged_within(connection: sqlite3.Connection, batch: BatchSummary, within_ms: int) -> list[BatchSummary]:
    """Other batches of a batch's machine that were charged within a time of it, oldest first. [ms]"""
    return _summaries(
        connection,
        "WHERE machine = ? AND opened_ms BETWEEN ? AND ? AND state <> 'discarded' AND abs(charged_ms - ?) <= ?"
        " AND code <> ? ORDER BY charged_ms, code",
        (
            batch.machine,
            batch.opened_ms - _DAY_MS,
            batch.opened_ms + _DAY_MS,
            batch.charged_ms,
            within_ms,
            batch.code,
        ),
    )


def is_discarded(connection: sqlite3.Connection, code: str) -> bool:
    """Whether a batch was discarded, or merged into another one."""
    row = connection.execute("SELECT state FROM batches WHERE code = ?", (code,)).fetchone()
    return row is not None and row[0] == "discarded"


def machine_of(connection: sqlite3.Connection, code: str) -> str:
    """Id of the machine that a batch was opened on."""
    return str(connection.execute("SELECT machine FROM batches WHERE code = ?", (code,)).fetchone()[0])


def new_code(db: Database, at_ms: int) -> str:
    """The next batch code of a day, stored with an unguessable token for its bag page."""
    day = datetime.fromtimestamp(at_ms / 1000).astimezone().date()
    # By code and not by day: two-digit years repeat, so a phone whose clock is a century off shares a day's codes.
    span = f"{day:%y%j}-", f"{day:%y%j}-~"
    rows = db.conn.execute("SELECT code FROM bags WHERE code BETWEEN ? AND ? AND code NOT GLOB '*-M*'", span)
    taken = [parse_code(row[0]).number for row in rows]
    code = next(
        code for number in count(max(taken, default=0) + 1) if (code := batch_code(day, number))[-1] not in MISREAD
    )
    db.conn.execute("INSERT INTO bags (code, token) VALUES (?, ?)", (code, secrets.token_urlsafe(TOKEN_BYTES)))
    return code


def give_token(db: Database, code: str) -> None:
    """Give a blend an unguessable token for its bag page, unless it has one; `new_code` gives a batch its own."""
    token = secrets.token_urlsafe(TOKEN_BYTES)
    db.conn.execute("INSERT OR IGNORE INTO bags (code, token) VALUES (?, ?)", (code, token))


def token_of(connection: sqlite3.Connection, code: str) -> str:
    """The token of the bag page of a batch or a blend."""
    return str(connection.execute("SELECT token FROM bags WHERE code = ?", (code,)).fetchone()[0])


def code_of(connection: sqlite3.Connection, token: str) -> str | None:
    """Code of the batch or blend with a token; None if there is none."""
    row = connection.execute("SELECT code FROM bags WHERE token = ?", (token,)).fetchone()
    return None if row is None else str(row[0])


def withdrawn(connection: sqlite3.Connection, token: str) -> bool:
    """Whether a token once led to a bag page and was withdrawn."""
    return connection.execute("SELECT 1 FROM withdrawn WHERE token = ?", (token,)).fetchone() is not None


def withdraw(db: Database, code: str, token: str, at_ms: int) -> None:
    """Give a batch a new token for its bag page; the old one is withdrawn."""
    db.conn.execute("INSERT INTO withdrawn (token, at_ms) SELECT token, ? FROM bags WHERE code = ?", (at_ms, code))
    db.conn.execute("UPDATE bags SET token = ? WHERE code = ?", (token, code))


def page_of(
    connection: sqlite3.Connection,
    *,
    page: int = 1,
    size: int = 50,
    query: str = "",
    coffee: str = "",
    machine: str = "",
    state: str = "",
    without: Sequence[str] = (),
) -> Page:
    """A page of batches, newest first.

    ``coffee``, ``machine`` and ``state`` match exactly, ``query`` matches a part of code, coffee, lot or intent, and
    ``without`` leaves machines out. Discarded batches show only for that state.
    """
    parts, values = ["state <> 'discarded'" if not state else "state = ?"], [state] if state else []
    for column, value in (("coffee", coffee), ("machine", machine)):
        if value:
            parts.append(f"{column} = ?")
            values.append(value)
    if query:
        pattern = "%" + query.replace("\\", r"\\").replace("%", r"\%").replace("_", r"\_") + "%"
        parts.append(
            "(" + " OR ".join(rf"{column} LIKE ? ESCAPE '\'" for column in ("code", "coffee", "lot", "intent")) + ")"
        )
        values += [pattern] * 4
    if without:
        parts.append(not_on(without))
        values += without
    where = "WHERE " + " AND ".join(parts)
    total = connection.execute(f"SELECT count(*) FROM batches {where}", values).fetchone()[0]  # noqa: S608
    pages = max(1, -(-total // size))
    page = min(max(1, page), pages)
    items = _summaries(
        connection, f"{where} ORDER BY opened_ms DESC, code DESC LIMIT ? OFFSET ?", (*values, size, (page - 1) * size)
    )
    return Page(items, page, pages, total)


def any_roasting(connection: sqlite3.Connection, since_ms: int, until_ms: int) -> bool:
    """Whether a batch on any machine was charged within a time span and is not dropped yet. [ms UTC]"""
    sql = "SELECT 1 FROM batches WHERE state = 'roasting' AND charged_ms > ? AND charged_ms <= ? LIMIT 1"
    return connection.execute(sql, (since_ms, until_ms)).fetchone() is not None


def under_way(connection: sqlite3.Connection, machine: str) -> list[BatchSummary]:
    """Batches of a machine that are open or roasting, oldest first."""
    return _summaries(
        connection, "WHERE machine = ? AND state IN ('open', 'roasting') ORDER BY opened_ms, code", (machine,)
    )


def last_dropped(connection: sqlite3.Connection, machine: str) -> BatchSummary | None:
    """The batch of a machine that was dropped last."""
    found = _summaries(
        connection,
        "WHERE machine = ? AND dropped_ms IS NOT NULL AND state <> 'discarded'"
        " ORDER BY dropped_ms DESC, code DESC LIMIT 1",
        (machine,),
    )
    return found[0] if found else None


def roasted(
    connection: sqlite3.Connection, machine: str, coffee: str, *, before_ms: int | None = None, limit: int = 20
) -> list[str]:
    """Codes of the newest roasted batches of a coffee on a machine, charged before ``before_ms``; newest first."""
    rows = connection.execute(
        "SELECT code FROM batches WHERE coffee = ? AND machine = ? AND charged_ms < ? AND dropped_ms > charged_ms"
        " AND state <> 'discarded' ORDER BY opened_ms DESC, code DESC LIMIT ?",
        (coffee, machine, before_ms if before_ms is not None else 1 << 62, limit),
    )
    return [row[0] for row in rows]


def coffees(connection: sqlite3.Connection) -> list[str]:
    """Names of up to 200 coffees, ordered by their newest batch, newest first."""
    rows = connection.execute(
        "SELECT coffee FROM batches WHERE coffee IS NOT NULL GROUP BY coffee ORDER BY max(opened_ms) DESC LIMIT 200"
    )
    return [row[0] for row in rows]


def losses(
    connection: sqlite3.Connection, coffee: str, *, but: str = "", limit: int = 60, without: Sequence[str] = ()
) -> list[float]:
    """Roast losses of the newest batches of a coffee, without the batch ``but`` and those of some machines."""
    rows = connection.execute(
        "SELECT roast_loss FROM batches WHERE coffee = ? AND roast_loss IS NOT NULL AND code <> ?"  # noqa: S608 - marks only
        f" AND state IN ('weighed', 'released', 'held') AND {not_on(without)} ORDER BY opened_ms DESC LIMIT ?",
        (coffee, but, *without, limit),
    )
    return [row[0] for row in rows]
