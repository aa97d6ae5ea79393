"""A server in its own process is killed, stopped and restarted without losing entries or readings."""

import http.client
import json
import os
import shutil
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from tests.launcher import Launched, run
from tests.ports import held_port
from tests.recording.test_hub import until

PATIENCE_S = 30.0


class Server:
    """The command `serve`, as a process group of its own; see `tests/launcher.py`."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, held_port()
        self.process: Launched | subprocess.Popen[bytes] | None = None
        self.log = Path(os.devnull)

    def run(self, *words: str) -> "subprocess.CompletedProcess[str]":
        """Run another command on the same folder."""
        return run([*words], self.folder)

    def start(self) -> None:
        """Start it and wait until it answers."""
        words = ["serve", "--data", str(self.folder), "--port", str(self.port)]
        self.process = Launched(words, self.log)
        until(lambda: self.healthy, PATIENCE_S)

    @property
    def healthy(self) -> bool:
        """Whether it answers and can record."""
        try:
            return self.ask("GET", "/healthz")[0] == 200
        except (OSError, http.client.HTTPException):
            return False

    @property
    def listening(self) -> bool:
        """Whether any process listens at its port."""
        with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1):
            return True
        return False

    def ask(self, method: str, path: str, payload: object = None) -> tuple[int, Any]:
        """Send a request; returns status and answer."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            body = None if payload is None else json.dumps(payload)
            connection.request(method, path, body, {"Content-Type": "application/json"} if body else {})
            answer = connection.getresponse()
            return answer.status, json.loads(answer.read())
        finally:
            connection.close()

    def kill_group(self) -> None:
        """Kill it and all its children at once, like a power cut."""
        assert self.process is not None
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(PATIENCE_S)

    def end(self) -> None:
        """Stop everything."""
        if self.process is not None:
            with suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait(PATIENCE_S)


class Roast:
    """A batch on the server, with readings pushed four times a second."""

    def __init__(self, server: Server) -> None:
        self.server = server
        self.pushed: dict[int, float] = {}
        self.code = self.say("opened", coffee="Night Ferry")
        self.say("moment", moment="charge")

    def say(self, kind: str, **body: object) -> str:
        """Send an entry now; returns the batch."""
        raw = {
            "id": str(uuid4()),
            "machine": "drum-4",
            "kind": kind,
            "at_ms": self.server.ask("GET", "/api/clock")[1]["now_ms"],
            "body": body,
        }
        raw |= {"batch": self.code} if kind != "opened" else {}
        status, told = self.server.ask("POST", "/api/entries", {"entries": [raw]})
        assert status == 200
        assert told["results"][0]["status"] == "stored", told
        return str(told["results"][0]["batch"])

    def push(self, duration_s: float) -> None:
        """Push readings for a while."""
        end_s = time.monotonic() + duration_s
        while time.monotonic() < end_s:
            at_ms = self.server.ask("GET", "/api/clock")[1]["now_ms"]
            value = 100.0 + len(self.pushed) / 4
            reading = {"at_ms": at_ms, "channel": "bean_probe", "value": value}
            status, told = self.server.ask("POST", "/api/machines/drum-4/readings", {"readings": [reading]})
            assert (status, told["accepted"]) == (202, 1)
            self.pushed[at_ms] = value
            time.sleep(min(0.25, duration_s))

    def kept(self) -> dict[int, float]:
        """The readings on the disk, read directly."""
        import sqlite3

        with sqlite3.connect(self.server.folder / "drumside.sqlite3") as connection:
            rows = connection.execute("SELECT at_ms, data FROM readings").fetchall()
        connection.close()
        return {at_ms: json.loads(data)["bean_probe"] for at_ms, data in rows}


@pytest.fixture
def server(tmp_path: Path, furnished: Path) -> Iterator[Server]:
    """A server on a fresh folder, with a machine whose readings are pushed."""
    server = Server(shutil.copytree(furnished, tmp_path, dirs_exist_ok=True))
    server.start()
    yield server
    server.end()


def test_a_batch_goes_on_after_a_kill(server: Server):
    """After a kill of all processes all entries and all but the last second's readings remain; the roast continues."""
    roast = Roast(server)
    roast.push(3)
    roast.say("note", text="before the cut")
    time.sleep(1.3)  # older than a second, so on the disk
    before, pushed = server.ask("GET", f"/api/batches/{roast.code}")[1], dict(roast.pushed)
    roast.push(0.6)
    server.kill_group()
    assert roast.kept().items() >= pushed.items()
    server.start()
    after = server.ask("GET", f"/api/batches/{roast.code}")[1]
    assert after["state"] == "roasting"
    assert after["entries"] == before["entries"]
    assert after["moments"]["charge"] == 0
    view = server.ask("GET", "/machines/drum-4/view")[1]
    assert (view["batch"]["code"], view["batch"]["expected"]) == (roast.code, "yellow")
    roast.push(2)
    roast.say("moment", moment="yellow")
    told = server.ask("GET", f"/api/batches/{roast.code}/curve")[1]
    first, last = min(pushed), max(roast.pushed)
    length_s = (last - view["batch"]["charged_at_ms"]) / 1000
    assert told["t_s"] == list(range(len(told["t_s"])))
    assert len(told["t_s"]) == pytest.approx(length_s + 1, abs=1.5)
    values = [value for value in told["bean_probe"] if value is not None]
    assert values == sorted(values)
    assert min(values) == pytest.approx(pushed[first], abs=1)
    assert max(values) == pytest.approx(roast.pushed[last], abs=1)
    assert server.ask("GET", f"/api/batches/{roast.code}")[1]["moments"]["yellow"] > length_s - 1


def test_sigterm_saves_and_ends_although_streams_are_open(server: Server):
    """Open streams are ended, the last readings are on the disk, and the port is free."""
    roast = Roast(server)
    ended = threading.Semaphore(0)

    def watch() -> None:
        connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=60)
        connection.request("GET", "/machines/drum-4/live")
        answer = connection.getresponse()
        with suppress(OSError, http.client.HTTPException):
            while answer.read1():
                pass
        connection.close()
        ended.release()

    watchers = [threading.Thread(target=watch, daemon=True) for _ in range(12)]
    for watcher in watchers:
        watcher.start()
    roast.push(1.5)
    assert server.process is not None
    server.process.terminate()
    assert server.process.wait(PATIENCE_S) == 0
    assert all(ended.acquire(timeout=PATIENCE_S) for _ in watchers)
    assert not server.listening
    assert roast.kept() == roast.pushed


def test_sigterm_waits_for_the_last_save_without_a_stream(server: Server):
    """Without a stream the process ends as well, with the last readings on the disk."""
    roast = Roast(server)
    for _ in range(3):
        roast.push(0.01)
    assert server.process is not None
    server.process.terminate()
    assert server.process.wait(PATIENCE_S) == 0
    assert roast.kept() == roast.pushed


def test_a_server_whose_parent_is_killed_saves_and_lets_go(server: Server):
    """If only the parent is killed, the recording process saves and ends too."""
    roast = Roast(server)
    roast.push(1)
    assert server.process is not None
    server.process.kill()
    server.process.wait(PATIENCE_S)
    until(lambda: not server.listening, PATIENCE_S)
    assert roast.kept() == roast.pushed
    server.start()
    assert server.ask("GET", f"/api/batches/{roast.code}")[1]["state"] == "roasting"


def test_a_second_start_is_refused_and_stops_nothing(server: Server):
    """On the same folder and on the same port a second server ends with a message; the first continues."""
    roast = Roast(server)
    second = server.run("serve", "--data", str(server.folder), "--port", str(held_port()))
    assert second.returncode == 1
    assert "Another Drumside records into" in second.stderr
    other = server.run("serve", "--data", str(server.folder / "other"), "--port", str(server.port))
    assert other.returncode == 1
    assert f"Port {server.port} of 127.0.0.1 cannot be used" in other.stderr
    for told in (second, other):
        assert "Traceback" not in told.stderr
    roast.push(0.5)
    assert server.healthy


def test_commands_work_beside_a_server_that_runs(server: Server):
    """A printed token works at once; an exported sheet equals the imported one."""
    made = server.run("token", "--name", "logger", "--data", str(server.folder))
    token = made.stdout.strip()
    assert made.returncode == 0
    assert len(token) > 30
    from roastlog.clock import Clock
    from roastlog.services import open_services
    from roastlog.web.app import create_app

    services = open_services(server.folder, Clock())
    client = create_app(services).test_client()
    elsewhere = {"environ_overrides": {"REMOTE_ADDR": "192.0.2.7"}}  # a documentation address (RFC 5737)
    assert client.get("/api/batches", **elsewhere).status_code == 401
    headers = {"Authorization": f"Bearer {token}"}
    assert client.get("/api/batches", headers=headers, **elsewhere).status_code == 200
    services.close()
    sheet = server.run("machine", "export", "drum-4", "--data", str(server.folder))
    assert 'name = "Four-kilo drum"' in sheet.stdout
    (server.folder / "again.toml").write_text(sheet.stdout)
    assert server.run("machine", "import", "again.toml", "--data", str(server.folder)).returncode == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["machine", "import", "nowhere.toml"], "nowhere.toml cannot be read"),
        (["machine", "import", "."], "cannot be read"),
        (["machine", "export", "nobody"], "no machine “nobody”"),
        (["serve", "--port", "99999"], "Port 99999 of 127.0.0.1 cannot be used"),
        (["serve", "--host", "192.0.2.7"], "cannot be used"),
        (["token"], "--name"),
    ],
)
def test_a_mistaken_command_ends_with_a_sentence(tmp_path: Path, words: list[str], said: str):
    """A mistaken command ends with a message, without a traceback, and with a failure code."""
    told = Server(tmp_path).run(*words)
    assert told.returncode != 0
    assert said in told.stderr
    assert "Traceback" not in told.stderr


def test_a_damaged_database_is_set_aside_and_reported(tmp_path: Path):
    """Each start ends with a message, without a traceback or an empty database, and the file is unchanged."""
    content = b"notes, and no database\n" * 50
    (tmp_path / "drumside.sqlite3").write_bytes(content)
    for _ in range(2):
        told = Server(tmp_path).run("serve", "--data", str(tmp_path))
        assert told.returncode == 1
        assert "set aside as drumside.sqlite3.damaged-" in told.stderr
        assert "Traceback" not in told.stderr
        kept = [path for path in tmp_path.iterdir() if path.name != "lock"]
        assert [path.read_bytes() for path in kept] == [content]
