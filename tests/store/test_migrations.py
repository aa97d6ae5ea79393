"""Schema changes, tested on copies of the databases of earlier versions."""

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from uuid import UUID, uuid4

import pytest
from sqlite_utils import Database

from roastlog.errors import StoreError
from roastlog.journal.entries import By, Entry
from roastlog.journal.subject import Subject
from roastlog.store import backups, devices, journal, machines, projections, readings, sealing
from roastlog.store import batches as lists
from roastlog.store.backups import BACKUPS, FILE_NAME, check, listed
from roastlog.store.migrations import migrations
from roastlog.store.readings import SLOT_MS
from roastlog.store.store import Store
from roastlog.trace.codes import parse_code

START_MS = 1_795_600_800_000
NAMES = [migration.name for migration in migrations._migrations]
COLUMNS = "seq, id, batch, machine, kind, at_ms, received_ms, person, device, body"
BROKER = {"host": "broker.example", "user": "roaster", "topic": "roastery/drum-4/bean"}
CHANNEL = {"id": "bean_probe", "name": "Bean probe", "role": "bean_probe"}
WITH_PASSWORD = BROKER | {"password": "hush"}
SHEET = json.dumps(  # a machine in the form of earlier versions, including the password
    {"id": "drum-4", "name": "Drum", "batch_g": [800.0, 4500.0], "channels": [CHANNEL | {"mqtt": WITH_PASSWORD}]}
)
Dump = dict[str, list[tuple[object, ...]]]


def dump(path: Path) -> Dump:
    """All rows of all tables of a file, except those about migrations; entries in the first version's form.

    From the sixth change on they are read back in words, and those words are no table of its own here. From the ninth
    on those that are not about a batch stand in “said”.
    """
    with closing(sqlite3.connect(path)) as connection:
        found = connection.execute("SELECT name FROM sqlite_master WHERE type IN ('table', 'view')")
        tables = {row[0] for row in found if not row[0].startswith(("sqlite_", "_sqlite"))}
        told = {
            name: sorted(connection.execute(f"SELECT * FROM {name}").fetchall(), key=repr)  # noqa: S608
            for name in tables - {"words", "journal"}
        }
        if "journal" in tables:
            about = connection.execute("SELECT * FROM journal LIMIT 0").description[2][0] == "about"
            columns = COLUMNS.replace("batch", "about") if about else COLUMNS
            rows = connection.execute(f"SELECT {columns} FROM journal").fetchall()  # noqa: S608
            rows = [(row[0], str(UUID(bytes=row[1])), *row[2:]) for row in rows]
            told["entries"] = sorted(
                ((*row[:2], row[2].removeprefix("batch "), *row[3:]) for row in rows if row[3] is not None), key=repr
            )
            if about:
                told["said"] = sorted(((row[2], row[4], *row[8:]) for row in rows if row[3] is None), key=repr)
        return told


def schema(path: Path) -> set[tuple[str, str]]:
    """The complete schema."""
    with closing(sqlite3.connect(path)) as connection:
        return set(connection.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL"))


def entry(kind: str, at_ms: int, by: By = By(), **body: object) -> Entry:  # noqa: B008 - it does not change
    """An entry of a batch, received a little later; its other fields are set when it is stored."""
    about = {"machine": "drum-4", "batch": None if kind == "opened" else "x", "at_ms": at_ms, "received_ms": at_ms + 40}
    return Entry(id=uuid4(), kind=kind, by=by, body=body, **about)


def said_of(at_ms: int) -> list[Entry]:
    """Entries of a batch: repeated ones, own words, with and without a name, late and early."""
    ines = By(person="Ines", device="tablet")
    early = entry("note", at_ms + 60_000, By(device="phone"), text=f"Smells of “hay” at {at_ms}")
    return [
        entry("moment", at_ms, ines, moment="charge"),
        entry("move", at_ms + 30_000, By(device="drum-4"), control="radiant", setting=3.5),
        early.model_copy(update={"received_ms": early.at_ms - 12_000}),
        entry("aroma", at_ms + 90_000, ines, words=["toast", "malt", "nut", "caramel", "orange peel", "cocoa"]),
        entry("moment", at_ms + 600_000, moment="drop"),
    ]


def brought_up(was: Dump) -> Dump:
    """Expected rows after migrating the version before packed readings, without ids of people and new entries."""
    tokens = [(*row, "operate", None) for row in was["tokens"] if row[0] != "device 0a1b2c3d"]
    sheet = {"id": "drum-4", "name": "Drum", "batch_g": [800.0, 4500.0], "channels": [CHANNEL | {"mqtt": BROKER}]}
    return was | {
        "sealed": [],
        "pairings": [],
        "withdrawn": [],
        "photos": [],
        "tokens": tokens,
        "devices": [(1, "device 0a1b2c3d", None, "operate", "b" * 64, START_MS, START_MS)],
        "batches": [(row[0], row[3], row[4], *row[6:]) for row in was["batches"]],
        "bags": sorted((row[0], row[5]) for row in was["batches"]),
        "people": [("Ines", "I.")],
        "settings": [("business", '"Quillwater Roasters"')],
        "notes": [("served_at", '"https://192.168.1.2:8443/#"')],
        "passwords": [("drum-4", "broker.example", 1883, "roaster", "hush")],
        "erasable": [('{"name": "Ines", "shown": "I."}',)],
        "machines": [("drum-4", json.dumps(sheet), START_MS)],
        "projected": [(1, projections.VERSION, len(was["entries"]) + 4)],
        "said": [
            ("house", "set", "upgrade", '{"business": "Quillwater Roasters"}'),
            ("lot HU-7", "arrived", "upgrade", '{"green_g": 20000.0, "coffee": "Alder washed"}'),
            (
                "machine drum-4",
                "set_up",
                "upgrade",
                json.dumps({"sheet": json.loads(SHEET.replace(', "password": "hush"', ""))}),
            ),
            ("person", "named", "upgrade", "{}"),
        ],
    }


def without_new_ids(now: Dump) -> Dump:
    """Rows without the ids that the migration created, and without lists and columns that came later."""
    later = {"accounts", "counts", "movements", "products", "blends", "packs", "orders", "customers", "recalls"}
    assert not [row for name in later - {"accounts", "movements"} for row in now[name]]
    return {name: rows for name, rows in now.items() if name not in later} | {
        "batches": [row[:-1] for row in now["batches"]],
        "lots": [row[:11] for row in now["lots"]],
        "machines": [row[:3] for row in now["machines"]],
        "people": [row[1:] for row in now["people"]],
        "erasable": [row[1:] for row in now["erasable"]],
        "said": [(about.split()[0] if about.startswith("person") else about, *rest) for about, *rest in now["said"]],
    }


@pytest.fixture
def before_sealing(tmp_path: Path) -> Path:
    """A data folder of the version before packed readings."""
    return make_before_sealing(tmp_path)


def make_before_sealing(work: Path) -> Path:
    """Make a data folder of the version before packed readings: three batches, their readings, lots and people."""
    folder = work / "before"
    folder.mkdir()
    with closing(Store(work / "now")) as now:
        opened = [entry("opened", START_MS + n * 1_200_000 - 60_000, coffee=f"é {n}", green_g=4000.0) for n in range(3)]
        now.write(lambda db: projections.add_many(db, [(first, said_of(first.at_ms + 60_000)) for first in opened]))
    rows = dump(now.path)
    tokens = dict(rows["bags"])
    codes = [parse_code(str(row[0])) for row in rows["batches"]]
    rows["batches"] = [  # with the additional columns of the first version
        (code, parsed.day.isoformat(), parsed.number, machine, opened_entry, tokens[code], *rest)
        for (code, machine, opened_entry, *rest, _product), parsed in zip(rows["batches"], codes, strict=True)
    ]
    with closing(Database(sqlite3.connect(folder / FILE_NAME))) as db:
        db.conn.row_factory = sqlite3.Row
        db.enable_wal()
        migrations.apply(db, stop_before="0004_sealed")
        with db.atomic():
            for name in ("batches", "entries"):
                places = ", ".join("?" * len(rows[name][0]))
                db.conn.executemany(f"INSERT INTO {name} VALUES ({places})", rows[name])  # noqa: S608
            for number in range(3):
                at_ms = START_MS + number * 1_200_000
                values = [(at_ms + n * 1000, {"bean_probe": n / 10, "exhaust": n / 8}) for n in range(-30, 630)]
                readings.add_rows(db, "drum-4", values)
            db.execute("INSERT INTO machines VALUES ('drum-4', ?, ?)", (SHEET, START_MS))
            lot = ("HU-7", "Alder washed", 20_000.0)
            db.execute("INSERT INTO lots (code, coffee, bought_g) VALUES (?, ?, ?)", lot)
            db.execute("INSERT INTO people VALUES ('Ines', 'I.')")
            kept = {"business": "Quillwater Roasters", "house_key": "once-for-all"}
            kept["served_at"] = "https://192.168.1.2:8443/#"
            for name, value in kept.items():
                db.execute("INSERT INTO settings VALUES (?, ?)", (name, json.dumps(value)))
            for name, letter in (("logger", "a"), ("device 0a1b2c3d", "b"), ("device driver", "c")):
                db.execute("INSERT INTO tokens VALUES (?, ?, ?)", (name, letter * 64, START_MS))
    return folder


def test_everything_of_the_version_before_is_intact(before_sealing: Path, tmp_path: Path):
    """On a copy of its folder each row is unchanged except for access data; a verified backup was made first."""
    was = dump(before_sealing / FILE_NAME)
    assert [len(was[name]) for name in ("batches", "entries", "readings", "people")] == [3, 18, 1980, 1]
    folder = tmp_path / "copy"
    shutil.copytree(before_sealing, folder)
    Store(folder).close()
    assert without_new_ids(dump(folder / FILE_NAME)) == brought_up(was)
    kept = listed(folder / BACKUPS)
    assert [backup.before for backup in kept] == ["0004_sealed"]
    assert dump(kept[0].path) == was
    Store(folder).close()
    assert listed(folder / BACKUPS) == kept


def test_readings_of_the_version_before_are_packed_and_read_the_same(before_sealing: Path):
    """Its old readings are packed, and a batch's curve is made of the same readings."""
    store = Store(before_sealing)
    span = "drum-4", START_MS - 60_000, START_MS + 10 * SLOT_MS
    rows = readings.rows_between(store.read, *span)
    assert all(sealing.seal(store, slot) for slot in sealing.due(store.read, START_MS + 10 * SLOT_MS))
    assert readings.fresh_rows(store.read, *span) == []
    assert readings.rows_between(store.read, *span) == rows
    assert [batch.coffee for batch in lists.page_of(store.read).items] == ["é 2", "é 1", "é 0"]
    store.close()


def test_a_password_goes_beside_the_journal_and_the_machine_still_has_it(before_sealing: Path):
    """No entry contains it, and its broker still gets it."""
    store = Store(before_sealing)
    (drum,) = machines.machines(store.read)
    assert drum.passwords == {("broker.example", 1883, "roaster"): "hush"}
    assert "hush" not in str([entry.body for entry in journal.entries_about(store.read, Subject("machine", "drum-4"))])
    store.close()


def test_a_device_that_came_in_by_the_house_key_is_still_let_in(before_sealing: Path):
    """It becomes an operating device that can be removed; a program's token stays one, and also operates."""
    store = Store(before_sealing)
    came = devices.device_by_hash(store.read, "b" * 64)
    assert came is not None
    assert (came.name, came.role) == ("device 0a1b2c3d", "operate")
    assert [(token.name, token.role) for token in devices.tokens(store.read)] == [
        ("device driver", "operate"),
        ("logger", "operate"),
    ]
    store.close()


@pytest.mark.parametrize("name", NAMES)
def test_every_version_comes_to_the_schema_of_a_new_folder(tmp_path: Path, name: str):
    """Each earlier version migrates to the same tables and indexes as an empty folder."""
    (tmp_path / "old").mkdir()
    with closing(Database(sqlite3.connect(tmp_path / "old" / FILE_NAME))) as db:
        migrations.apply(db, stop_before=name)
    Store(tmp_path / "old").close()
    Store(tmp_path / "new").close()
    assert schema(tmp_path / "old" / FILE_NAME) == schema(tmp_path / "new" / FILE_NAME)
    assert listed(tmp_path / "new" / BACKUPS) == []


def test_a_change_that_fails_leaves_all_as_it_was(before_sealing: Path, monkeypatch: pytest.MonkeyPatch):
    """A failed migration is rolled back and reported, the backup exists, and the next version can retry."""
    was = dump(before_sealing / FILE_NAME)

    def half(db: Database) -> None:
        db.execute("DELETE FROM entries")
        db.execute("INSERT INTO nowhere VALUES (1)")

    last = migrations._Migration("0004_sealed", half)
    monkeypatch.setattr(migrations, "_migrations", [*migrations._migrations[:3], last])
    with pytest.raises(StoreError, match="cannot be brought up to date"):
        Store(before_sealing)
    assert dump(before_sealing / FILE_NAME) == was
    assert check(listed(before_sealing / BACKUPS)[0].path).entries == 18
    monkeypatch.undo()
    Store(before_sealing).close()
    assert without_new_ids(dump(before_sealing / FILE_NAME)) == brought_up(was)


def test_without_a_backup_nothing_is_changed(before_sealing: Path, monkeypatch: pytest.MonkeyPatch):
    """If the disk has no room for a backup, the folder stays unchanged, with a reason."""
    was, before = dump(before_sealing / FILE_NAME), schema(before_sealing / FILE_NAME)
    monkeypatch.setattr(backups, "SPARE_BYTES", 1 << 60)
    with pytest.raises(StoreError, match="Not enough space"):
        Store(before_sealing)
    assert (dump(before_sealing / FILE_NAME), schema(before_sealing / FILE_NAME)) == (was, before)


def test_shipped_changes_stand_in_their_order():
    """Names are never edited, since databases store them. (From the code of version 0.1.0 on.)"""
    assert NAMES[:3] == ["0001_journal", "0002_readings", "0003_books"]
    assert NAMES[3:6] == ["0004_sealed", "0005_lists", "0006_words"]
    assert NAMES[6:] == ["0007_devices", "0008_photos", "0009_subjects"]
    assert sorted(NAMES) == NAMES
