"""Conversion of rows into entries: lots, people, settings and machines as stored before migration 0009.

It is part of a migration that has shipped: never edit it. It uses nothing that a later version may change.
"""

import json
import time
from collections.abc import Mapping
from typing import Any, Final
from uuid import UUID, uuid5

from sqlite_utils import Database

DEVICE: Final = "upgrade"
NAMESPACE: Final = UUID("0b6f0f7e-53a2-4d0e-9a35-6f1f3c1f9a5d")  # of these entries; random, fixed
SETTINGS: Final = frozenset(
    (
        *("business", "url_base", "units_temp", "units_mass", "best_before_days"),
        *("bag_shows_weights", "bag_shows_people", "bag_shows_photos", "area_base_c"),
        *("crash_c_per_min", "rebound_c_per_min", "stall_c_per_min", "fast_crack_c_per_min"),
        *("probe_jump_c", "probe_low_c", "probe_high_c", "probe_stuck_s", "probe_missing_s"),
    )
)


def say_the_books(db: Database) -> None:
    """Make an entry from each row; the same database always gives the same ids."""
    first = db.execute("SELECT id FROM entries ORDER BY seq LIMIT 1").fetchone()
    teller = _Teller(db, "" if first is None else bytes(first[0]).hex(), round(time.time() * 1000))
    for ident, sheet, added_ms in db.execute(
        "SELECT id, sheet, added_ms FROM machines ORDER BY added_ms, id"
    ).fetchall():
        teller.say(f"machine {ident}", "set_up", {"sheet": _without_passwords(db, ident, json.loads(sheet))}, added_ms)
    lots = db.execute("SELECT * FROM lots ORDER BY code")
    names = [column[0] for column in lots.description]
    for row in lots.fetchall():
        lot = {name: value for name, value in zip(names, row, strict=True) if value is not None}
        code, green_g = lot.pop("code"), lot.pop("bought_g")
        teller.say(f"lot {code}", "arrived", {"green_g": green_g, **lot})
    for number, (name, shown) in enumerate(db.execute("SELECT name, shown FROM people ORDER BY name").fetchall()):
        entry = teller.say(f"person {teller.ident(f'person {number}').hex[:12]}", "named", {}, number=number)
        body = json.dumps({"name": name, "shown": shown}, ensure_ascii=False)
        db.execute("INSERT INTO erasable (entry, body) VALUES (?, ?)", (entry.bytes, body))
    kept = dict(db.execute("SELECT name, value FROM settings ORDER BY name").fetchall())
    values = {name: json.loads(value) for name, value in kept.items() if name in SETTINGS}
    if values:
        teller.say("house", "set", values)
    for name, value in kept.items():
        if name not in SETTINGS:
            db.execute("INSERT INTO notes (name, value) VALUES (?, ?)", (name, value))


class _Teller:
    def __init__(self, db: Database, salt: str, now_ms: int) -> None:
        self._db, self._salt, self._now_ms = db, salt, now_ms

    def ident(self, text: str) -> UUID:
        return uuid5(NAMESPACE, f"{self._salt} {text}")

    def say(self, about: str, kind: str, body: Mapping[str, Any], at_ms: int | None = None, *, number: int = 0) -> UUID:
        entry = self.ident(f"{kind} {about} {number}")
        at_ms = self._now_ms if at_ms is None else at_ms
        for word in (about, kind, DEVICE):
            self._db.execute("INSERT OR IGNORE INTO words (word) VALUES (?)", (word,))
        number_of = "(SELECT id FROM words WHERE word = ?)"
        self._db.execute(
            f"INSERT INTO entries (id, about, kind, at_ms, late_ms, device, body)"  # noqa: S608 - our own names
            f" VALUES (?, {number_of}, {number_of}, ?, ?, {number_of}, ?)",
            (entry.bytes, about, kind, at_ms, self._now_ms - at_ms, DEVICE, json.dumps(body, ensure_ascii=False)),
        )
        return entry


def _without_passwords(db: Database, machine: str, sheet: dict[str, Any]) -> Any:  # noqa: ANN401 - JSON
    """The sheet for an entry; passwords go to their own table."""
    for channel in sheet.get("channels", ()):
        point = channel.get("mqtt") or {}
        password = point.pop("password", None)
        if password is not None:
            db.execute(
                "INSERT OR IGNORE INTO passwords (machine, host, port, user, password) VALUES (?, ?, ?, ?, ?)",
                (machine, point["host"], point.get("port", 1883), point["user"], password),
            )
    return _without_nulls(sheet)


def _without_nulls(value: Any) -> Any:  # noqa: ANN401 - JSON
    if isinstance(value, dict):
        return {name: _without_nulls(item) for name, item in value.items() if item is not None}
    if isinstance(value, list):
        return [_without_nulls(item) for item in value]
    return value
