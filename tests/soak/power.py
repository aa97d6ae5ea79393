"""Power cuts: the files of a database as a cut could leave them, at each point of each write.

A log of writes is made from copies of the files after each acknowledgement. SQLite appends a commit to its log and
syncs it; now and then it copies pages from there into the database and syncs that, and begins the log anew with the
next commit. Until a sync returns, a disk may hold any part of the writes: the log up to a frame, any sectors of it, or
any pages of the database. After it, the disk is taken to keep them.
"""

import json
import random
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import islice, pairwise
from pathlib import Path
from typing import Final
from uuid import UUID, uuid4

from roastlog.services import LotRow, Services, open_services
from roastlog.store import backups, notes, projections, readings, sealing
from roastlog.store.backups import FILE_NAME
from roastlog.store.database import REMADE
from roastlog.store.readings import SLOT_MS
from roastlog.store.store import Store
from tests.conftest import SHEET, START_MS, HandClock
from tests.projection_rows import projection_rows

LOG_HEADER, FRAME_HEADER, SECTOR = 32, 24, 512  # https://www.sqlite.org/fileformat2.html#walformat
CHECKPOINT_PAGES: Final = 60  # a thousand in service; fewer here, so that the log begins anew several times
Rows = dict[str, list[tuple[object, ...]]]


@dataclass(frozen=True)
class State:
    """The files after an acknowledgement, their content, and the entries acknowledged until then."""

    database: bytes
    log: bytes
    rows: Rows
    entries: dict[UUID, object]


@dataclass(frozen=True)
class Cut:
    """The files that a power cut leaves. ``committed`` is whether the last commit of the step had been synced."""

    step: int
    where: str
    database: bytes
    log: bytes
    committed: bool


def written(folder: Path, steps: int, rng: random.Random) -> list[State]:
    """Record with the services for a number of steps, each one transaction; returns the state after each."""
    services = open_services(folder, HandClock())
    try:
        services.machines.add(SHEET)
        with_fewer = f"PRAGMA wal_autocheckpoint = {CHECKPOINT_PAGES}"
        services.store.write(lambda db: db.execute(with_fewer).fetchone())
        synced = services.store.write(lambda db: db.execute("PRAGMA synchronous").fetchone()[0])
        if synced != 2:  # FULL: without it nothing is on the disk when it is acknowledged
            raise RuntimeError(f"a commit is not synced: {synced}")
        recording = _Recording(services, rng)
        states = [_state(services, recording.acknowledged)]
        for number, step in enumerate(islice(recording.steps(), steps)):
            step(number)
            states.append(_state(services, recording.acknowledged))
        return states
    finally:
        services.close()


def cuts(states: list[State], rng: random.Random, *, torn: int = 1) -> Iterator[Cut]:
    """Every frame of each step's log, and ``torn`` random mixtures of old and new sectors or pages of each file."""
    for step, (before, after) in enumerate(pairwise(states)):
        page = int.from_bytes(after.log[8:12], "big")
        changed = _changed(before.log, after.log, SECTOR)
        frames = range(LOG_HEADER, len(after.log), page + FRAME_HEADER)
        for at in frames if changed else ():
            if changed[0] * SECTOR <= at < (changed[-1] + 1) * SECTOR:
                yield Cut(step, f"log cut at {at}", before.database, after.log[:at] + before.log[at:], committed=False)
        for _ in range(torn if changed else 0):
            some = rng.sample(changed, rng.randrange(len(changed)))
            begun = after.log[:LOG_HEADER] + before.log[LOG_HEADER:]  # a log begun anew has its header synced first
            mixed = _mixed(begun, after.log, SECTOR, some)
            yield Cut(step, f"sectors {some} of the log", before.database, mixed, committed=False)
        copied = _changed(before.database, after.database, page)
        for _ in range(torn if copied else 0):
            some = rng.sample(copied, rng.randrange(len(copied) + 1))
            mixed = _mixed(before.database, after.database, page, some)
            yield Cut(step, f"pages {some} of the database", mixed, after.log, committed=True)


def wrong_after(cut: Cut, states: list[State]) -> str | None:
    """Start on the files of a cut; returns what is wrong then, None if nothing is."""
    before, after = states[cut.step], states[cut.step + 1]
    with tempfile.TemporaryDirectory(prefix="drumside-power-") as name:
        path = Path(name) / FILE_NAME
        for part, content in ((path, cut.database), (path.with_name(f"{FILE_NAME}-wal"), cut.log)):
            part.touch(mode=0o600)
            part.write_bytes(content)
        with closing(sqlite3.connect(path)) as connection:
            rows, lists = _rows(connection), projection_rows(connection)
            journal = {UUID(bytes=ident): body for _, ident, body in _journal(connection)}
        if lost := [ident for ident, body in before.entries.items() if journal.get(ident) != body]:
            return f"{len(lost)} acknowledged entries are lost"
        if rows not in ([after.rows] if cut.committed else [before.rows, after.rows]):
            return "a transaction is there in part"
        backups.check(path)
        store = Store(path.parent)
        try:
            if notes.noted(store.read).get(REMADE) is not None:
                return "the projections did not match the journal"
            store.write(projections.rebuild)
            if projection_rows(store.read) != lists:
                return "the projections are not what the journal gives"
        finally:
            store.close()
    return None


class _Recording:
    """Makes the writes of a roastery, each in one transaction; ``acknowledged`` has the bodies of its entries."""

    def __init__(self, services: Services, rng: random.Random) -> None:
        self._services, self._rng = services, rng
        self.acknowledged: dict[UUID, object] = {}
        self._batch: str | None = None

    def steps(self) -> Iterator[Callable[[int], object]]:
        """Batches with their entries and readings, lots, settings and packed readings, without an end."""
        while True:
            yield self._begin
            for _ in range(self._rng.randrange(2, 5)):
                yield self._tap
                yield self._read
            yield self._drop
            yield from self._rng.sample([self._buy, self._rename, self._pack], 3)

    def _say(self, number: int, *said: tuple[str, dict[str, object]]) -> str:
        at_ms, about = START_MS + number * 1000, {"batch": self._batch} if self._batch else {}
        raws = [
            {"id": str(uuid4()), "machine": "drum-4", "kind": kind, "at_ms": at_ms, "body": body} | about
            for kind, body in said
        ]
        results = self._services.journal.accept(raws)
        for raw, result in zip(raws, results, strict=True):
            if result.status != "stored":
                raise RuntimeError(f"an entry was not stored: {result}")
            self.acknowledged[UUID(str(raw["id"]))] = raw["body"]
        return str(results[0].batch)

    def _begin(self, number: int) -> None:
        self._batch = None
        self._batch = self._say(number, ("opened", {"coffee": f"é {number}", "green_g": 4000.0}))

    def _tap(self, number: int) -> None:
        move = "move", {"control": "radiant", "setting": number % 10}
        self._say(number, ("note", {"text": "Hay." * self._rng.randrange(1, 150)}), *[move] * self._rng.randrange(4))

    def _drop(self, number: int) -> None:
        self._say(number, ("moment", {"moment": "drop"}))

    def _read(self, number: int) -> None:
        at_ms, count = START_MS + number * 1000, self._rng.randrange(1, 200)
        values = [(at_ms + n, {"bean_probe": n / 10, "bean_surface": n / 8}) for n in range(count)]
        self._services.store.write(lambda db: readings.add_rows(db, "drum-4", values))

    def _buy(self, number: int) -> None:
        self._services.lots.keep(LotRow(f"HU-{number % 3}", f"Alder {number}", bought_g=20_000))

    def _rename(self, number: int) -> None:
        self._services.settings.change({"business": f"Quillwater {number}"})

    def _pack(self, _: int) -> None:
        for slot in sealing.due(self._services.store.read, START_MS + 100 * SLOT_MS):
            sealing.seal(self._services.store, slot)
            return


def _state(services: Services, acknowledged: dict[UUID, object]) -> State:
    path = services.store.path
    log = path.with_name(f"{FILE_NAME}-wal").read_bytes()
    return State(path.read_bytes(), log, _rows(services.store.read), dict(acknowledged))


def _rows(connection: sqlite3.Connection) -> Rows:
    """All rows of all tables, and the journal in words."""
    names = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()]
    return {
        name: sorted(map(tuple, connection.execute(f"SELECT * FROM {name}").fetchall()), key=repr)  # noqa: S608
        for name in names
    }


def _journal(connection: sqlite3.Connection) -> list[tuple[int, bytes, object]]:
    rows = connection.execute("SELECT seq, id, body FROM journal ORDER BY seq")
    return [(seq, ident, json.loads(body)) for seq, ident, body in rows]


def _changed(before: bytes, after: bytes, size: int) -> list[int]:
    """Numbers of the blocks that differ."""
    return [n for n in range(-(-len(after) // size)) if before[n * size :][:size] != after[n * size :][:size]]


def _mixed(before: bytes, after: bytes, size: int, numbers: list[int]) -> bytes:
    """The old blocks with some new ones; zeros where a file grew without its content."""
    mixed = bytearray(before.ljust(max(((n + 1) * size for n in numbers), default=0), b"\0"))
    for number in numbers:
        mixed[number * size : (number + 1) * size] = after[number * size : (number + 1) * size]
    return bytes(mixed)
