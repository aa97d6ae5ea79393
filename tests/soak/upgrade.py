"""A server started on the database of an earlier version, while phones already send the taps that waited for it."""

import http.client
import json
import shutil
import sqlite3
import threading
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from uuid import UUID

from sqlite_utils import Database

from roastlog.store.backups import FILE_NAME
from roastlog.store.migrations import migrations
from tests.recording.test_hub import until
from tests.recording.test_restart import Server
from tests.soak.killing import entry, post
from tests.store.test_migrations import NAMES, make_before_sealing

EARLIER: Final = NAMES[3:]
"""The first change that each version lacks, for all that had machines and readings."""
PHONES, TAPS = 6, 40  # a phone sends all that waits in one call, as the app does
SHEET: Final = json.dumps(
    {
        "id": "drum-4",
        "name": "Drum",
        "batch_g": [800.0, 4500.0],
        "channels": [{"id": "bean_probe", "name": "Bean probe", "role": "bean_probe", "http": {}}],
    }
)
PATIENCE_S = 60.0


@dataclass(frozen=True)
class Upgraded:
    """Numbers of acknowledged and of lost entries, and of entries from before that are missing or changed."""

    acknowledged: int
    lost: int
    missing: int


def upgrade(work: Path, lacks: str) -> Upgraded:
    """Make a database that lacks a change and all later ones, start a server on it under taps, and kill it."""
    folder = shutil.copytree(make_before_sealing(work), work / "data")
    with closing(Database(sqlite3.connect(folder / FILE_NAME))) as db:
        db.conn.row_factory = sqlite3.Row
        before = {UUID(row["id"]): (row["at_ms"], json.loads(row["body"])) for row in db.query("SELECT * FROM entries")}
        batch = db.execute("SELECT code FROM batches ORDER BY code").fetchone()[0]
        with db.atomic():
            db.execute("UPDATE machines SET sheet = ?", (SHEET,))  # no broker outside of this computer
        migrations.apply(db, stop_before=lacks)
    server = Server(folder)
    acknowledged = _tap_while_it_starts(server, str(batch))
    with closing(sqlite3.connect(folder / FILE_NAME)) as connection:
        rows = connection.execute("SELECT id, at_ms, body FROM journal").fetchall()
    there = {UUID(bytes=ident): (at_ms, json.loads(body)) for ident, at_ms, body in rows}
    return Upgraded(
        acknowledged=len(acknowledged),
        lost=sum(there.get(ident) != told for ident, told in acknowledged.items()),
        missing=sum(there.get(ident) != told for ident, told in before.items()),
    )


def _tap_while_it_starts(server: Server, batch: str) -> dict[UUID, object]:
    """Send taps from before the start on, each phone until it is answered; kill the server at the last answer."""
    acknowledged: dict[UUID, object] = {}
    phones = [threading.Thread(target=_send, args=(server, batch, acknowledged)) for _ in range(PHONES)]
    for phone in phones:
        phone.start()
    try:
        server.start()
        until(lambda: not any(phone.is_alive() for phone in phones), PATIENCE_S)
        server.kill_group()
    finally:
        server.end()
    return acknowledged


def _send(server: Server, batch: str, acknowledged: dict[UUID, object]) -> None:
    waiting = [entry("drum-4", "note", text=f"é {number}") | {"batch": batch} for number in range(TAPS)]
    told = _answer(server, waiting)
    if {result["status"] for result in told} != {"stored"}:
        raise RuntimeError(f"taps were not stored: {told}")
    acknowledged |= {UUID(str(made["id"])): (made["at_ms"], made["body"]) for made in waiting}


def _answer(server: Server, waiting: list[dict[str, object]]) -> list[dict[str, str]]:
    end_s = time.monotonic() + PATIENCE_S
    while True:
        connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=PATIENCE_S)
        try:
            return list(post(connection, "/api/entries", {"entries": waiting}, http.client.OK)["results"])
        except OSError:  # nobody listens yet
            if time.monotonic() > end_s:
                raise
            time.sleep(0.01)
        finally:
            connection.close()
