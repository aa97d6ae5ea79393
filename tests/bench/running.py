"""Programs under measurement: start, wait, measure, and end by their own id."""

import http.client
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psutil

from tests.ports import held_port

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Running:
    """A server that answers, and the time from its command to its first answer. [s]"""

    port: int
    pid: int
    start_s: float

    @property
    def url(self) -> str:
        """Its URL."""
        return f"http://127.0.0.1:{self.port}"

    def resident_mb(self, *, without: str = "") -> float:
        """Resident memory of the process and its children, except those with ``without`` in their command line.

        Memory pages shared by parent and child count twice, so this is an upper bound.
        """
        parent = psutil.Process(self.pid)
        family = [parent, *parent.children(recursive=True)]
        kept = [p for p in family if not without or without not in " ".join(p.cmdline())]
        return float(sum(p.memory_info().rss for p in kept)) / 1e6

    def cpu_s(self) -> float:
        """Processor time used so far by the process and its children. [s]"""
        parent = psutil.Process(self.pid)
        times = [p.cpu_times() for p in [parent, *parent.children(recursive=True)]]
        return float(sum(t.user + t.system for t in times))


@contextmanager
def running(command: Sequence[str], port: int, *, within_s: float = 30.0, folder: str = "") -> Iterator[Running]:
    """Start a server from the repository's root, wait for its /healthz, and end it afterwards."""
    started_s = time.perf_counter()
    about = {**os.environ, "BENCH_FOLDER": folder}
    with subprocess.Popen(command, cwd=ROOT, env=about, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) as process:
        try:
            while not _healthy(port):
                if process.poll() is not None or time.perf_counter() - started_s > within_s:
                    raise RuntimeError(f"{' '.join(command[1:4])} does not serve: {_last_words(process)}")
                time.sleep(0.005)
            yield Running(port, process.pid, time.perf_counter() - started_s)
        finally:
            process.terminate()
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()


@contextmanager
def bare_server() -> Iterator[Running]:
    """The floor: a small Flask app without our code, on granian alone."""
    port = held_port()
    command = [sys.executable, "-m", "tests.bench.bare", str(port)]
    with tempfile.TemporaryDirectory(prefix="bare-bench-") as folder, running(command, port, folder=folder) as server:
        yield server


def post(connection: http.client.HTTPConnection, path: str, body: object) -> tuple[int, Any]:
    """Send JSON on a persistent connection; returns status and answer."""
    connection.request("POST", path, json.dumps(body), {"Content-Type": "application/json"})
    answer = connection.getresponse()
    text = answer.read()
    return answer.status, json.loads(text) if text else None


def get(connection: http.client.HTTPConnection, path: str) -> Any:  # noqa: ANN401, whatever JSON comes
    """GET a path as JSON."""
    connection.request("GET", path)
    answer = connection.getresponse()
    text = answer.read()
    if answer.status != http.client.OK:
        raise RuntimeError(f"{path} gave {answer.status}: {text[:200]!r}")
    return json.loads(text)


def _healthy(port: int) -> bool:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=2)
    try:
        connection.request("GET", "/healthz")
        return connection.getresponse().status == http.client.OK
    except OSError:
        return False
    finally:
        connection.close()


def _last_words(process: subprocess.Popen[bytes]) -> str:
    process.terminate()
    return process.stderr.read().decode(errors="replace")[-600:] if process.stderr else ""
