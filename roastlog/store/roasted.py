"""Roasted coffee in stock: loose by batch and blend, and in packs. Only what is not 0 is read."""

import sqlite3
from dataclasses import dataclass, fields
from datetime import datetime
from itertools import count
from typing import Any

from roastlog.journal.subject import BLEND, PACK
from roastlog.store import journal
from roastlog.store.batches import MISREAD
from roastlog.trace.codes import blend_code, pack_code

_LOOSE_FROM = """
    FROM accounts LEFT JOIN batches ON batches.code = name LEFT JOIN blends ON blends.code = name
    WHERE kind = 'roasted' AND grams <> 0"""
_LOOSE = f"""
    SELECT name, grams, coffee, coalesce(batches.product, blends.product), batches.state,
        coalesce(dropped_ms, opened_ms, blended_ms) AS since_ms, blends.code IS NOT NULL {_LOOSE_FROM}"""
_PACKS_FROM = "FROM accounts LEFT JOIN packs ON packs.code = name WHERE kind = 'pack' AND grams <> 0"
_BY_PRODUCT = f"""
    SELECT product, sum(loose_g), sum(packed_g) FROM (
        SELECT coalesce(batches.product, blends.product) AS product, grams AS loose_g, 0 AS packed_g {_LOOSE_FROM}
        UNION ALL SELECT product, 0, grams {_PACKS_FROM}
    ) GROUP BY product ORDER BY product"""  # noqa: S608


@dataclass(frozen=True)
class Loose:
    """Loose coffee of a batch or a blend; ``state`` is that of a batch, ``since_ms`` its drop or its blending. [g]"""

    code: str
    grams: int
    coffee: str | None
    product: str | None
    state: str | None
    since_ms: int | None
    is_blend: int


@dataclass(frozen=True)
class Blend:
    """A blend of roasted coffee as lists show it. [ms UTC]"""

    code: str
    product: str | None
    blended_ms: int


@dataclass(frozen=True)
class PackRow:
    """A pack as lists show it; ``source`` is the first batch or blend that it was packed from. [ms UTC]"""

    code: str
    product: str | None
    source: str
    packed_ms: int
    bag_g: int
    count: int
    packaging: str | None
    best_before: str | None
    grams: int

    @property
    def bags_left(self) -> int:
        """Bags in stock, by the grams left of it; below 0 where more were taken than packed."""
        return round(self.grams / self.bag_g)


_PACK = ", ".join(f"packs.{field.name}" for field in fields(PackRow) if field.name != "grams")


def is_blend(connection: sqlite3.Connection, code: str) -> bool:
    """Whether a blend has that code."""
    return connection.execute("SELECT 1 FROM blends WHERE code = ?", (code,)).fetchone() is not None


def loose(connection: sqlite3.Connection, *, short: bool = False, limit: int = -1, offset: int = 0) -> list[Loose]:
    """Loose coffee, the oldest first; those below 0 only with ``short``, and without it those above."""
    sign = "grams < 0" if short else "grams > 0"
    rows = connection.execute(
        f"{_LOOSE} AND {sign} ORDER BY since_ms, name LIMIT ? OFFSET ?",
        (limit, offset),
    )
    return [Loose(*row) for row in rows]


def packs(connection: sqlite3.Connection, *, short: bool = False, limit: int = -1) -> list[PackRow]:
    """Packs with bags left, by best-before date; those below 0 only with ``short``, and without it those above."""
    sign = "grams < 0" if short else "grams > 0"
    rows = connection.execute(
        f"SELECT {_PACK}, grams {_PACKS_FROM} AND packs.code IS NOT NULL AND {sign}"
        " ORDER BY coalesce(best_before, '9999'), packed_ms, name LIMIT ?",
        (limit,),
    )
    return [PackRow(*row) for row in rows]


def by_product(connection: sqlite3.Connection) -> list[tuple[str | None, int, int]]:
    """Grams in stock of each product, loose and in packs; None for coffee of no product."""
    rows = connection.execute(_BY_PRODUCT)
    return [(row[0], row[1], row[2]) for row in rows]


def pack(connection: sqlite3.Connection, code: str) -> PackRow | None:
    """One pack; None if unknown."""
    found = _listed(connection, "WHERE packs.code = ?", (code,))
    return found[0] if found else None


def packs_of(connection: sqlite3.Connection, source: str) -> list[PackRow]:
    """The packs that were filled from a batch or a blend first of all, by their number."""
    return _listed(connection, "WHERE source = ? ORDER BY packed_ms, code", (source,))


def page_of_packs(
    connection: sqlite3.Connection, *, page: int, size: int, query: str = "", product: str = ""
) -> tuple[list[PackRow], int, int, int]:
    """A page of packs, newest first, with the number of the page, of pages, and of all.

    ``product`` matches exactly, ``query`` a part of the code or product.
    """
    pattern = "%" + query.replace("\\", r"\\").replace("%", r"\%").replace("_", r"\_") + "%"
    where = (
        r"WHERE (packs.code LIKE :like ESCAPE '\' OR coalesce(product, '') LIKE :like ESCAPE '\')"
        " AND (:product = '' OR product = :product)"
    )
    values = {"like": pattern, "product": product}
    total = connection.execute(f"SELECT count(*) FROM packs {where}", values).fetchone()[0]  # noqa: S608
    pages = max(1, -(-total // size))
    page = min(max(1, page), pages)
    order = f"{where} ORDER BY packed_ms DESC, packs.code DESC LIMIT :size OFFSET :skip"
    return _listed(connection, order, values | {"size": size, "skip": (page - 1) * size}), page, pages, total


def blend(connection: sqlite3.Connection, code: str) -> Blend | None:
    """One blend; None if unknown."""
    row = connection.execute("SELECT code, product, blended_ms FROM blends WHERE code = ?", (code,)).fetchone()
    return None if row is None else Blend(*row)


def next_pack(connection: sqlite3.Connection, source: str) -> str:
    """The next code of a pack that is filled from a batch or a blend."""
    taken = set(journal.names(connection, PACK, f"{source}-"))
    return next(code for number in count(1) if (code := pack_code(source, number)) not in taken)


def next_blend(connection: sqlite3.Connection, at_ms: int) -> str:
    """The next code of a blend of a day."""
    day = datetime.fromtimestamp(at_ms / 1000).astimezone().date()
    taken = set(journal.names(connection, BLEND, f"{day:%y%j}-"))
    return next(
        code for number in count(1) if (code := blend_code(day, number)) not in taken and code[-1] not in MISREAD
    )


def _listed(connection: sqlite3.Connection, where: str, values: Any) -> list[PackRow]:  # noqa: ANN401 - as SQLite's
    joined = "packs LEFT JOIN accounts ON kind = 'pack' AND name = packs.code"
    rows = connection.execute(f"SELECT {_PACK}, coalesce(grams, 0) FROM {joined} {where}", values)  # noqa: S608
    return [PackRow(*row) for row in rows]
