"""A full, locked, read-only or damaged disk is reported, nothing is overwritten, and writing resumes afterwards."""

import os
import shlex
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from roastlog.errors import StoreError
from roastlog.store import books, readings
from roastlog.store.backups import BACKUPS, FILE_NAME, take
from roastlog.store.store import Store
from tests.checkout import ROOT
from tests.subject_entries import keep_person

HERE = Path(__file__).parent
NOW_MS = 1_795_600_000_000
ROW = {"probe": 20.0}


def start(script: str, *words: str) -> subprocess.Popen[str]:
    """Start a program in this folder."""
    return subprocess.Popen(
        [sys.executable, str(HERE / script), *words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"},
    )


@contextmanager
def recorder(folder: Path) -> Iterator[Callable[[str], str]]:
    """A recorder in its own process: its answer to a line; the first answer, without a line, is its opening."""
    with start("recorder_on_a_bad_disk.py", str(folder)) as process:

        def ask(line: str) -> str:
            assert process.stdin is not None
            assert process.stdout is not None
            if line:
                process.stdin.write(line + "\n")
                process.stdin.flush()
            return process.stdout.readline().strip()

        yield ask
        process.stdin.close()
        process.wait(30)


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Another program locks the database."""
    with start("holder.py", str(path)) as holder:
        assert holder.stdout.readline().strip() == "held"
        yield
        holder.stdin.close()
        holder.wait(30)


def test_a_file_that_may_not_grow_is_reported_and_written_on_later(tmp_path: Path):
    """If the system refuses file growth, as a quota does, it is reported, nothing is half written, and it resumes."""
    with recorder(tmp_path) as ask:
        assert ask("") == "open"
        assert ask("add 100") == "ok"
        assert ask(f"limit {max(path.stat().st_size for path in tmp_path.iterdir())}") == "ok"
        told = ask("add 50000")
        assert told.startswith("refused: The database cannot be written")
        assert "send it again" in told
        assert ask("count 0") == "100"
        assert ask("limit 1000000000") == "ok"
        assert ask("add 200") == "ok"
        assert ask("count 0") == "300"


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A real file system of 2 MB."""
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("only root on Linux may mount a small file system")
    folder = tmp_path / "disk"
    folder.mkdir()
    if mount("-t", "tmpfs", "-o", "size=2m", "tmpfs", folder):
        pytest.skip("mounting is not allowed here")
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)


def mount(*words: str | Path) -> int:
    """Mount a file system; returns the exit code."""
    return subprocess.run(["mount", *map(str, words)], check=False, capture_output=True).returncode


def test_a_full_disk_is_reported_and_written_on_later(disk: Path):
    """On a full disk the message names the remedy, all data is readable, and writing resumes with room."""
    with recorder(disk / "data") as ask:
        assert [ask(""), ask("add 100")] == ["open", "ok"]
        room = os.statvfs(disk)
        filler = disk / "filler"
        filler.write_bytes(bytes(room.f_bavail * room.f_frsize))
        told = ask("add 20000")
        assert "Free some space on its disk." in told
        assert f"The database is {disk / 'data' / FILE_NAME}." in told
        assert ask("count 0") == "100"
        filler.unlink()
        assert [ask("add 200"), ask("count 0")] == ["ok", "300"]


def test_a_disk_that_can_only_be_read_is_reported(disk: Path):
    """A read-only disk is reported at the start; writing works as soon as it is allowed."""
    with recorder(disk / "data") as ask:
        assert [ask(""), ask("add 10")] == ["open", "ok"]
    assert mount("-o", "remount,ro", disk) == 0
    with recorder(disk / "data") as ask:
        told = ask("")
        assert told.startswith("refused: The database")
        assert "write into its data folder" in told or "that Drumside may write into it" in told
    assert mount("-o", "remount,rw", disk) == 0
    with recorder(disk / "data") as ask:
        assert [ask(line) for line in ("", "count 0", "add 15", "count 0")] == ["open", "10", "ok", "15"]


def test_a_folder_without_the_right_to_write_is_reported(tmp_path: Path):
    """A folder without write permission is reported, except to root, who may write anyway."""
    if os.name != "posix" or os.geteuid() == 0:
        pytest.skip("rights do not bind root")
    Store(tmp_path / "data").close()
    (tmp_path / "data" / FILE_NAME).chmod(0o444)
    (tmp_path / "data").chmod(0o555)
    with pytest.raises(StoreError, match=r"write into its data folder|may write into it"):
        Store(tmp_path / "data")
    (tmp_path / "data").chmod(0o755)
    (tmp_path / "data" / FILE_NAME).chmod(0o644)
    Store(tmp_path / "data").close()


def test_a_full_database_is_reported_by_its_health_and_written_on_later(tmp_path: Path):
    """With SQLite's own size limit the store reports the state without asking the disk, and recovers."""
    store = Store(tmp_path)
    pages = store.write(lambda db: db.conn.execute("PRAGMA max_page_count = 1").fetchone()[0])
    rows = [(n, ROW) for n in range(20_000)]
    with pytest.raises(StoreError, match="Free some space on its disk"):
        store.write(lambda db: readings.add_rows(db, "drum-4", rows))
    assert store.failing is not None
    assert store.failing is store.trouble()
    store.write(lambda db: db.conn.execute(f"PRAGMA max_page_count = {pages + 10_000}").fetchone())
    store.write(lambda db: readings.add_rows(db, "drum-4", rows))
    assert store.failing is store.trouble() is None
    store.close()


def test_a_database_that_another_program_holds_is_reported_and_left_in_its_place(tmp_path: Path):
    """It is not damaged, so it is not set aside; when the lock is released it opens normally."""
    Store(tmp_path).close()
    with held(tmp_path / FILE_NAME), pytest.raises(StoreError, match="Close the other program"):
        Store(tmp_path)
    Store(tmp_path).close()
    assert [path.name for path in tmp_path.iterdir() if "damaged" in path.name] == []


def settle(path: Path) -> None:
    """Move all of the write-ahead log into the file itself."""
    with sqlite3.connect(path) as connection:
        assert connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0] == 0
    connection.close()


def broken_database(folder: Path, *, backed_up: bool) -> bytes:
    """A database of ours with an overwritten first page; returns its bytes."""
    store = Store(folder)
    store.write(lambda db: keep_person(db, books.Person("Ines", "I.", "a1")))
    if backed_up:
        take(store.path, folder / BACKUPS, NOW_MS)
    store.close()
    content = b"\0" * 4096 + store.path.read_bytes()[4096:]
    store.path.write_bytes(content)
    return content


@pytest.mark.parametrize("begins", [b"notes, and no database\n" * 40, b"SQLite format 3\0" + b"\xff" * 4096])
def test_a_file_that_is_no_database_is_set_aside_as_it_was(tmp_path: Path, begins: bytes):
    """It is renamed with the time, unchanged, and no empty database ever replaces it."""
    path = tmp_path / FILE_NAME
    path.write_bytes(begins)
    with pytest.raises(StoreError, match=r"was set aside as drumside\.sqlite3\.damaged-\d{8}T\d{6}Z; not a byte"):
        Store(tmp_path)
    with pytest.raises(StoreError, match=r"There is no database in .* any more: it was damaged and set aside"):
        Store(tmp_path)
    aside = [found for found in tmp_path.iterdir() if found.name != "lock"]
    assert [found.read_bytes() for found in aside] == [begins]
    assert aside[0].name.startswith(FILE_NAME + ".damaged-")


def test_the_newest_backup_is_offered_by_the_exact_command(tmp_path: Path):
    """The command in the message restores everything into a new folder."""
    folder = tmp_path / "a folder"
    content = broken_database(folder, backed_up=True)
    with pytest.raises(StoreError, match="The newest good backup is from 20") as told:
        Store(folder)
    command = str(told.value).split("into a new folder: ")[1]
    assert command.startswith("drumside restore ")
    done = subprocess.run(
        [sys.executable, str(ROOT / "app.py"), *shlex.split(command)[1:]], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    again = Store(tmp_path / "a folder-restored-1")
    assert books.people(again.read) == [books.Person("Ines", "I.", "a1")]
    again.close()
    assert [path.read_bytes() for path in folder.glob("*.damaged-*Z")] == [content]


def test_a_database_that_is_gone_is_not_followed_by_an_empty_one(tmp_path: Path):
    """If only backups are left, an empty database would assign the codes on the bags again."""
    broken_database(tmp_path, backed_up=True)
    (tmp_path / FILE_NAME).unlink()
    for content in (None, b""):
        if content is not None:
            (tmp_path / FILE_NAME).write_bytes(content)
        with pytest.raises(StoreError, match=r"(?s)only backups of it are.*Restore it"):
            Store(tmp_path)
    assert (tmp_path / FILE_NAME).read_bytes() == b""


def test_a_damaged_database_of_a_running_server_is_not_renamed(tmp_path: Path):
    """A command beside the server only reports it, since the server has the file open."""
    fcntl = pytest.importorskip("fcntl")
    content = broken_database(tmp_path, backed_up=False)
    with (tmp_path / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        with pytest.raises(StoreError, match="a server that runs has it still open"):
            Store(tmp_path)
    assert (tmp_path / FILE_NAME).read_bytes() == content


def test_damage_that_shows_later_is_reported_with_the_way_back(tmp_path: Path):
    """Reading and writing report it; unaffected data still works; the file stays."""
    store = Store(tmp_path)
    store.write(lambda db: readings.add_rows(db, "drum-4", [(n, ROW) for n in range(20_000)]))
    backup = take(store.path, tmp_path / BACKUPS, NOW_MS)
    root = store.read.execute("SELECT rootpage FROM sqlite_master WHERE name = 'readings'").fetchone()[0]
    store.close()
    settle(store.path)
    content = bytearray(store.path.read_bytes())
    content[(root - 1) * 4096 : root * 4096] = b"\xff" * 4096
    store.path.write_bytes(content)
    store = Store(tmp_path)
    with pytest.raises(StoreError, match=r"(?s)cannot be read.*Restore it") as told:
        readings.rows_between(store.read, "drum-4", 0, 100)
    assert str(backup.path) in str(told.value)
    with pytest.raises(StoreError, match=r"cannot be written.*The file is damaged.*send it again"):
        store.write(lambda db: readings.add_rows(db, "drum-4", [(5, ROW)]))
    store.write(lambda db: keep_person(db, books.Person("Tomas", "T.", "b2")))
    assert books.people(store.read) == [books.Person("Tomas", "T.", "b2")]
    store.close()


def test_a_disk_that_was_away_is_read_again(tmp_path: Path):
    """While the folder is gone there are messages and no new database; then everything continues."""
    store = Store(tmp_path / "disk")
    store.write(lambda db: keep_person(db, books.Person("Ines", "I.", "a1")))
    (tmp_path / "disk").rename(tmp_path / "away")
    told: list[object] = []

    def read() -> None:
        for _ in range(2):
            try:
                told.append(books.people(store.read))
            except StoreError as error:
                told.append(str(error))
                (tmp_path / "away").rename(tmp_path / "disk")

    thread = threading.Thread(target=read)  # a thread without a connection yet
    thread.start()
    thread.join()
    assert "data folder was moved or removed" in str(told[0])
    assert told[1:] == [[books.Person("Ines", "I.", "a1")]]
    store.close()


def test_a_row_that_cannot_be_is_no_trouble_of_the_disk(tmp_path: Path):
    """An invalid row is refused without advice about disks."""
    store = Store(tmp_path)
    with pytest.raises(StoreError, match="constraint") as told:
        store.write(lambda db: db.conn.execute("INSERT INTO people VALUES ('a', NULL, NULL)"))
    assert "disk" not in str(told.value)
    store.close()
