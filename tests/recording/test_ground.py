"""Files of the data folder are removed, moved, replaced or garbled under a server: nothing acknowledged is lost."""

import os
import shutil
import sqlite3
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from roastlog.store.backups import BACKUPS, FILE_NAME
from tests.recording.test_hub import until
from tests.recording.test_restart import PATIENCE_S, Server

pytestmark = pytest.mark.skipif(os.name != "posix", reason="Windows does not let a file in use be removed")
FILES = {"database": FILE_NAME, "log": FILE_NAME + "-wal", "index": FILE_NAME + "-shm", "lock": "lock"}


class Watched(Server):
    """A server whose words are kept, with a batch in its drum."""

    stored: list[str]
    code: str

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.log = folder.with_name("words")
        self.stored, self.code = [], ""

    @property
    def words(self) -> str:
        """All that it printed."""
        return self.log.read_text()

    def send(self, kind: str, **body: object) -> tuple[int, str]:
        """Send an entry; status and outcome, with the id among `stored` if it was acknowledged."""
        raw: dict[str, Any] = {
            "id": str(uuid4()),
            "machine": "drum-4",
            "kind": kind,
            "at_ms": self.now_ms(),
            "body": body,
        }
        if kind != "opened":
            raw["batch"] = self.code
        status, told = self.ask("POST", "/api/entries", {"entries": [raw]})
        outcome = told["results"][0]["status"] if status == 200 else told["error"]
        if outcome == "stored":
            self.stored.append(raw["id"])
            self.code = told["results"][0]["batch"]
        return status, outcome

    def note(self) -> tuple[int, str]:
        """Send a note."""
        return self.send("note", text=f"note {len(self.stored)}")

    def push(self, value: float) -> int:
        """Push a reading of now; returns its time."""
        at_ms = self.now_ms()
        reading = {"at_ms": at_ms, "channel": "bean_probe", "value": value}
        assert self.ask("POST", "/api/machines/drum-4/readings", {"readings": [reading]})[1]["accepted"] == 1
        return at_ms

    def now_ms(self) -> int:
        """The server's time."""
        return int(self.ask("GET", "/api/clock")[1]["now_ms"])

    def kept(self) -> list[str]:
        """Ids of the stored entries, as a server that was started anew has them."""
        entries = self.ask("GET", f"/api/batches/{self.code}")[1]["entries"]
        return [entry["id"] for entry in entries if entry["id"] in self.stored]

    def until_it_ends(self) -> int:
        """Wait until it ends by itself; its exit code."""
        assert self.process is not None
        return self.process.wait(2 * PATIENCE_S)


@pytest.fixture
def server(tmp_path: Path, furnished: Path) -> Iterator[Watched]:
    """A server with a batch and three notes, some in the log and some in the database."""
    server = Watched(shutil.copytree(furnished, tmp_path / "data"))
    server.start()
    assert server.send("opened", coffee="Night Ferry") == (200, "stored")
    for _ in range(3):
        assert server.note() == (200, "stored")
    yield server
    server.end()


def remove(server: Watched, *names: str) -> None:
    """Remove files under the server."""
    for name in names:
        (server.folder / FILES[name]).unlink()


@pytest.mark.parametrize("names", [("database",), ("log",), ("lock",), ("database", "log", "index")])
def test_what_was_acknowledged_outlives_the_removal_of_a_file(server: Watched, names: tuple[str, ...]):
    """Taps are refused at once, the server ends with a failure code, and the next start has all, readings too."""
    before_ms = server.push(200.0)
    remove(server, *names)
    status, told = server.note()
    assert status == 503
    assert f"The file {FILES[names[0]]} was removed or replaced" in told
    status, health = server.ask("GET", "/healthz")
    assert (status, health["status"]) == (503, "failing")
    after_ms = server.push(201.0)
    assert server.until_it_ends() == 1
    assert "Nothing is recorded: The file" in server.words
    server.start()
    assert server.kept() == server.stored
    assert server.note() == (200, "stored")
    with sqlite3.connect(server.folder / FILE_NAME) as connection:
        times = {row[0] for row in connection.execute("SELECT at_ms FROM readings")}
    connection.close()
    assert {before_ms, after_ms} <= times


def test_a_folder_that_was_away_is_recorded_into_again(server: Watched):
    """While it is away taps are refused and nothing is made in its place; then all goes on, readings of the gap too."""
    away = server.folder.with_name("away")
    server.folder.rename(away)
    status, told = server.note()
    assert status == 503
    assert "The data folder was moved or removed" in told
    assert server.ask("GET", "/healthz")[0] == 503
    gap_ms = server.push(200.0)
    until(lambda: "Nothing is recorded" in server.words, PATIENCE_S)
    assert not server.folder.exists()
    away.rename(server.folder)
    until(lambda: server.healthy, PATIENCE_S)
    assert server.note() == (200, "stored")
    server.push(201.0)
    until(lambda: "recording continues" in server.words, PATIENCE_S)
    assert server.process is not None
    server.process.terminate()
    assert server.process.wait(PATIENCE_S) == 0
    server.start()
    assert server.kept() == server.stored
    with sqlite3.connect(server.folder / FILE_NAME) as connection:
        assert (gap_ms,) in connection.execute("SELECT at_ms FROM readings").fetchall()
    connection.close()


def test_a_file_moved_back_in_time_is_recorded_into_again(server: Watched):
    """A database that is renamed and renamed back costs no restart."""
    path = server.folder / FILE_NAME
    path.rename(path.with_suffix(".kept"))
    assert server.note()[0] == 503
    path.with_suffix(".kept").rename(path)
    until(lambda: server.healthy, PATIENCE_S)
    assert server.note() == (200, "stored")
    assert server.kept() == server.stored


def test_a_database_in_the_place_of_ours_is_not_touched(server: Watched):
    """Nothing is written into it, what was recorded goes to the backups, and the next start opens the new one."""
    other = server.folder.with_name("other.sqlite3")
    backup = server.run("backup", "--to", str(other), "--data", str(server.folder))
    assert backup.returncode == 0, backup.stderr
    assert server.note() == (200, "stored")
    content = other.read_bytes()
    other.replace(server.folder / FILE_NAME)
    assert server.note()[0] == 503
    assert server.until_it_ends() == 1
    assert (server.folder / FILE_NAME).read_bytes() == content
    saved = list((server.folder / BACKUPS).glob("drumside-*.sqlite3"))
    assert len(saved) == 1
    shutil.copy(saved[0], server.folder / FILE_NAME)
    server.start()
    assert server.kept() == server.stored


def test_a_stop_while_a_file_is_lost_saves_too(server: Watched):
    """SIGTERM within the time to put the file back loses nothing."""
    remove(server, "database", "log")
    assert server.note()[0] == 503
    assert server.process is not None
    server.process.terminate()
    server.process.wait(PATIENCE_S)
    server.start()
    assert server.kept() == server.stored


def test_health_is_failing_whenever_a_tap_would_be_refused(server: Watched):
    """Over a garbled database health says so before the first tap, and goes on saying so after it."""
    path = server.folder / FILE_NAME
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    with path.open("r+b") as file:
        file.write(os.urandom(path.stat().st_size))
    status, health = server.ask("GET", "/healthz")
    tap, told = server.note()
    assert (status, tap) in {(200, 200), (503, 503)}, (health, told)
    for _ in range(3):
        assert (server.note()[0], server.ask("GET", "/healthz")[0]) == (503, 503)


def test_files_and_folders_are_closed_to_other_users(server: Watched):
    """Files are 0600 and folders 0700, whatever the umask; those of an earlier version are closed at the start."""
    assert server.run("backup", "--data", str(server.folder)).returncode == 0

    def modes() -> dict[str, str]:
        paths = [server.folder, *server.folder.rglob("*")]
        return {path.name: stat.filemode(path.stat().st_mode) for path in paths}

    def closed() -> bool:
        return set(modes().values()) == {"drwx------", "-rw-------"}

    assert closed(), modes()
    assert {FILE_NAME, FILE_NAME + "-wal", "lock", BACKUPS} <= set(modes())
    server.end()
    for path in [server.folder, *server.folder.rglob("*")]:
        path.chmod(0o755 if path.is_dir() else 0o644)
    server.start()
    assert closed(), modes()
    assert "Other users of this computer could open" in server.words


def test_a_log_without_its_database_is_not_followed_by_an_empty_one(server: Watched):
    """Even without a backup no empty database replaces one that was removed."""
    server.kill_group()
    remove(server, "database")
    told = server.run("serve", "--data", str(server.folder), "--port", str(server.port))
    assert told.returncode == 1
    assert "Put drumside.sqlite3 back beside it" in told.stderr
    assert not (server.folder / FILE_NAME).exists()
