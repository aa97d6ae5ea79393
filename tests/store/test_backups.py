"""Backups: made during writes, verified, rotated, and restored."""

import os
import shutil
import sqlite3
import threading
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from uuid import uuid4

import pytest

from roastlog.errors import StoreError
from roastlog.journal.entries import By, Entry
from roastlog.store import backups, notes, projections, readings, sealing
from roastlog.store import batches as lists
from roastlog.store.backups import BACKUPS, FILE_NAME, check, copy, listed, newest, restore, take, tidy
from roastlog.store.store import Store

NOON_MS = int(datetime(2026, 11, 26, 12).astimezone().timestamp() * 1000)
DAY_MS = 86_400_000


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A store with a batch, a packed half hour and some unpacked readings."""
    store = Store(tmp_path / "data")
    opened = Entry(
        id=uuid4(), machine="drum-4", kind="opened", at_ms=NOON_MS, received_ms=NOON_MS, by=By(), body={"coffee": "é"}
    )
    store.write(lambda db: projections.add_many(db, [(opened, [])]))
    rows = [(NOON_MS + n * 1000, {"probe": n / 10}) for n in range(100)]
    store.write(lambda db: readings.add_rows(db, "drum-4", rows))
    for slot in sealing.due(store.read, NOON_MS + DAY_MS):
        sealing.seal(store, slot)
    store.write(lambda db: readings.add_rows(db, "drum-4", [(NOON_MS + DAY_MS, {"probe": 1.0})]))
    yield store
    store.close()


def folder_of(store: Store) -> Path:
    """Folder of the store's backups."""
    return store.path.parent / BACKUPS


def test_a_backup_holds_all_and_is_one_file(store: Store):
    """It is verified and counted, readable on a read-only disk, named by its time, and a single file."""
    backup = take(store.path, folder_of(store), NOON_MS)
    found = check(backup.path)
    assert (found.batches, found.entries, found.packed, found.readings, found.damaged) == (1, 1, 1, 1, 0)
    assert listed(folder_of(store)) == [backup] == [newest(folder_of(store))]
    assert backup.at_ms == NOON_MS
    assert backup.when == "2026-11-26 12:00"
    assert [path.name for path in folder_of(store).iterdir()] == [backup.path.name]


def test_a_backup_is_of_one_moment_however_much_is_written_meanwhile(store: Store, monkeypatch: pytest.MonkeyPatch):
    """A backup made page by page with writes in between finishes, and has the state of its start."""
    monkeypatch.setattr(backups, "PAGES", 1)
    monkeypatch.setattr(backups, "PAUSE_S", 0.001)
    stop, wrote = threading.Event(), threading.Semaphore(0)

    def write_on() -> None:
        number = 0
        while not stop.is_set():
            number += 1
            store.write(lambda db, n=number: notes.note(db, {f"a{n}": n, f"b{n}": n}))
            wrote.release()

    thread = threading.Thread(target=write_on)
    thread.start()
    assert wrote.acquire(timeout=10)
    backup = take(store.path, folder_of(store), NOON_MS)
    stop.set()
    thread.join()
    with sqlite3.connect(backup.path) as connection:
        names = {row[0] for row in connection.execute("SELECT name FROM settings")}
    connection.close()
    numbers = {int(name[1:]) for name in names}
    assert numbers == set(range(1, len(numbers) + 1))
    assert names == {f"{letter}{n}" for letter in "ab" for n in numbers}
    assert len(notes.noted(store.read)) > len(names)


def test_a_backup_is_brought_back_into_a_new_folder_alone(store: Store, tmp_path: Path):
    """All data is there and can be continued; a folder with any content is refused and unchanged."""
    backup = take(store.path, folder_of(store), NOON_MS)
    assert restore(backup.path, tmp_path / "new" / "folder") == check(backup.path)
    again = Store(tmp_path / "new" / "folder")
    assert [batch.title for batch in lists.page_of(again.read).items] == ["é"]
    before = readings.rows_between(store.read, "drum-4", 0, NOON_MS * 2)
    assert readings.rows_between(again.read, "drum-4", 0, NOON_MS * 2) == before
    again.write(lambda db: notes.note(db, {"business": "x"}))
    again.close()
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "notes").write_text("mine")
    for folder in (tmp_path / "full", store.path.parent):
        with pytest.raises(StoreError, match="not empty"):
            restore(backup.path, folder)
    assert [path.name for path in (tmp_path / "full").iterdir()] == ["notes"]


def test_a_damaged_backup_is_not_brought_back(store: Store, tmp_path: Path):
    """A damaged backup and a file that is no database give a message, and no folder is created."""
    backup = take(store.path, folder_of(store), NOON_MS)
    content = bytearray(backup.path.read_bytes())
    content[8192:12288] = b"\xff" * 4096
    (tmp_path / "broken").write_bytes(content)
    (tmp_path / "notes").write_bytes(b"no database " * 500)
    for name in ("broken", "notes", "nowhere"):
        with pytest.raises(StoreError, match=r"damaged|cannot be read"):
            restore(tmp_path / name, tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_damage_of_the_database_makes_no_backup_and_costs_none(store: Store):
    """A damaged structure is reported; earlier good backups remain, and no partial one is left."""
    good = take(store.path, folder_of(store), NOON_MS - 400 * DAY_MS)
    store.close()
    content = bytearray(store.path.read_bytes())
    for page in range(3, len(content) // 4096):
        content[page * 4096 : page * 4096 + 8] = b"\xff" * 8
    store.path.write_bytes(content)
    with pytest.raises(StoreError, match=r"damaged|failed"):
        take(store.path, folder_of(store), NOON_MS)
    assert [path.name for path in folder_of(store).iterdir()] == [good.path.name]


def entry(at_ms: int) -> Entry:
    """An entry that opens a batch."""
    return Entry(id=uuid4(), machine="drum-4", kind="opened", at_ms=at_ms, received_ms=at_ms, by=By(), body={})


@pytest.mark.parametrize("emptied", [b"", None])
def test_an_emptied_database_is_no_backup_and_costs_none(store: Store, emptied: bytes | None):
    """Truncated to nothing, its WAL gone, or begun anew without a schema: refused, and the day's good one stays."""
    good = take(store.path, folder_of(store), NOON_MS)
    store.close()
    for path in store.path.parent.glob(f"{FILE_NAME}*"):
        path.unlink()
    if emptied is None:
        sqlite3.connect(store.path).execute("CREATE TABLE other (id INTEGER)").connection.close()
    else:
        store.path.write_bytes(emptied)
    with pytest.raises(StoreError, match="has no journal"):
        take(store.path, folder_of(store), NOON_MS + 1000)
    assert [path.name for path in folder_of(store).iterdir()] == [good.path.name]


def test_a_database_with_fewer_entries_than_its_backup_is_no_backup(store: Store):
    """A journal only grows: an older state that took the place of the newer one is refused by name and numbers."""
    older = take(store.path, folder_of(store), NOON_MS)
    store.write(lambda db: projections.add_many(db, [(entry(NOON_MS + 1), [])]))
    newer = take(store.path, folder_of(store), NOON_MS + DAY_MS)
    store.close()
    for path in store.path.parent.glob(f"{FILE_NAME}*"):
        path.unlink()
    copy(older.path, store.path)
    with pytest.raises(StoreError, match=f"1 entries, fewer than the 2 of the backup {newer.path.name}"):
        take(store.path, folder_of(store), NOON_MS + 2 * DAY_MS)
    assert listed(folder_of(store)) == [newer, older]


def test_a_database_emptied_under_its_store_is_no_backup(store: Store):
    """The same beside a program that still has the old file open."""
    good = take(store.path, folder_of(store), NOON_MS)
    os.truncate(store.path, 0)
    store.path.with_name(f"{FILE_NAME}-wal").unlink()
    with pytest.raises(StoreError):
        take(store.path, folder_of(store), NOON_MS + 1000)
    assert listed(folder_of(store)) == [good]


def test_tidying_keeps_the_fullest_and_the_last_before_a_shrink(store: Store, tmp_path: Path):
    """However old they are: backups by an earlier version may have followed a loss."""
    folder = tmp_path / "kept"
    folder.mkdir()
    source = take(store.path, folder_of(store), NOON_MS).path
    entries = {80: 3, 70: 5, 60: 1, 50: 4, **dict.fromkeys(range(40), 2)}  # by days before noon
    for back, count in entries.items():
        path = folder / backups._name(NOON_MS - back * DAY_MS, "")
        shutil.copy(source, path)
        connection = sqlite3.connect(path)
        connection.execute("DELETE FROM entries")
        connection.executemany(
            "INSERT INTO entries (id, about, kind, at_ms, late_ms, body) VALUES (?, 1, 1, 0, 0, '{}')",
            [(uuid4().bytes,) for _ in range(count)],
        )
        connection.commit()
        connection.close()
    tidy(folder, NOON_MS)
    kept = {round((NOON_MS - backup.at_ms) / DAY_MS) for backup in listed(folder)}
    assert {70, 50} < kept  # the fullest, after which it shrank too; and the last before the second shrink
    assert not {80, 60} & kept
    assert max(kept - {70, 50}) < 28


def test_damaged_packed_readings_are_counted_and_backed_up_all_the_same(store: Store):
    """The rest is worth backing up, and so are damaged blobs that may still be repaired."""
    store.write(lambda db: db.conn.execute("UPDATE sealed SET data = substr(data, 1, length(data) - 1)"))
    assert check(take(store.path, folder_of(store), NOON_MS).path).damaged == 1


def test_a_few_days_and_weeks_are_kept(tmp_path: Path):
    """Of 60 nights, the last seven, the newest of four weeks, and three before schema changes are kept."""
    nights = [NOON_MS - back * DAY_MS for back in range(60)]
    for at_ms in nights:
        for early_ms in (0, 3_600_000):
            (tmp_path / backups._name(at_ms - early_ms, "")).touch()
        (tmp_path / backups._name(at_ms, "0004_sealed")).touch()
    (tmp_path / "notes.txt").touch()
    (tmp_path / "drumside-of-mine.sqlite3").touch()
    tidy(tmp_path, NOON_MS)
    kept = listed(tmp_path)
    plain = [backup.at_ms for backup in kept if backup.before is None]
    # 2026-11-26 is a Thursday: the newest of each week are the 26th and the Sundays 22nd, 15th and 8th.
    sundays = [NOON_MS - back * DAY_MS for back in (4, 11, 18)]
    assert plain == sorted({*nights[:7], *sundays}, reverse=True)
    assert [backup.at_ms for backup in kept if backup.before] == nights[:3]
    assert {"notes.txt", "drumside-of-mine.sqlite3"} < {path.name for path in tmp_path.iterdir()}


def test_nothing_is_overwritten(store: Store, tmp_path: Path):
    """A second backup in one second has its own name; a file named by a person must not exist yet."""
    assert take(store.path, folder_of(store), NOON_MS).path != take(store.path, folder_of(store), NOON_MS).path
    (tmp_path / "mine").write_text("mine")
    with pytest.raises(StoreError, match="overwrites nothing"):
        copy(store.path, tmp_path / "mine")
    assert (tmp_path / "mine").read_text() == "mine"


def test_a_backup_never_fills_the_disk(store: Store, monkeypatch: pytest.MonkeyPatch):
    """If it would leave little room it is not started, since the recorder needs the disk."""
    monkeypatch.setattr(backups, "SPARE_BYTES", 1 << 60)
    with pytest.raises(StoreError, match="Not enough space"):
        take(store.path, folder_of(store), NOON_MS)
    assert list(folder_of(store).iterdir()) == []


def test_a_backup_is_given_up_when_the_server_stops(store: Store):
    """It ends at once and leaves no file."""
    with pytest.raises(StoreError, match="cancelled"):
        take(store.path, folder_of(store), NOON_MS, stopping=lambda: True)
    assert list(folder_of(store).iterdir()) == []


def test_a_file_in_the_place_of_the_folder_is_reported(store: Store):
    """The message names the file."""
    folder_of(store).write_text("mine")
    with pytest.raises(StoreError, match="No backup can be made"):
        take(store.path, folder_of(store), NOON_MS)
    assert newest(folder_of(store)) is None


def test_there_must_be_a_database(tmp_path: Path):
    """A folder without a database is reported, and none is created in it."""
    with pytest.raises(StoreError, match="failed"):
        copy(tmp_path / FILE_NAME, tmp_path / "copy")
    assert list(tmp_path.iterdir()) == []
