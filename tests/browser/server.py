"""A Drumside server beside the tests, in a process and a folder of its own, stopped by an interrupt."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, Self
from urllib.error import URLError
from urllib.request import Request, urlopen
from uuid import uuid4

import psutil

from tests.checkout import ROOT
from tests.launcher import Launched
from tests.ports import held_port

UP_S = 60.0
DOWN_S = 20.0


class Server:
    """A server that answers on a port of its own."""

    def __init__(self, process: "subprocess.Popen[bytes] | Launched", port: int, log: Path) -> None:
        self._process, self._log = process, log
        self.url = f"http://127.0.0.1:{port}"

    @classmethod
    def start(cls, folder: Path, command: str, *arguments: str, root: Path = ROOT, drawn: bool = True) -> Self:
        """Start ``app.py serve`` or ``demo``, of another checkout if asked, on loopback and wait until it answers.

        One of this checkout comes from the launcher, without BokehJS unless ``drawn``; see `tests/launcher.py`.
        """
        port, log = held_port(), folder.with_suffix(".log")
        words = [command, "--data", str(folder), "--host", "127.0.0.1", "--port", str(port), *arguments]
        process: subprocess.Popen[bytes] | Launched
        if root == ROOT:
            process = Launched(words, log, drawn=drawn)
        else:
            with log.open("wb") as out:
                process = subprocess.Popen([sys.executable, "app.py", *words], cwd=root, stdout=out, stderr=out)
        server = cls(process, port, log)
        until_s = time.monotonic() + UP_S
        while time.monotonic() < until_s and process.poll() is None:
            with suppress(URLError, OSError):
                server.get("/healthz")
                return server
            time.sleep(0.05)
        server.stop()
        raise AssertionError(f"the server did not answer: {log.read_text(encoding='utf-8')}")

    def get(self, path: str) -> Any:  # noqa: ANN401 - JSON
        """What the server answers, as JSON."""
        with urlopen(self.url + path, timeout=10) as answer:
            return json.load(answer)

    def code(self, role: str) -> str:
        """A code that lets a device in, as the owner is shown it."""
        asked = Request(f"{self.url}/devices/invite", f"role={role}".encode())
        with urlopen(asked, timeout=10) as page:
            found = re.search(r'id="code"[^>]*>\s*([\d ]+?)\s*<', page.read().decode())
        assert found is not None
        return found[1]

    def until(self, holds: Callable[[], bool], otherwise: str) -> None:
        """Wait until something holds, for as long as a start may take."""
        until_s = time.monotonic() + UP_S
        while not holds():
            assert time.monotonic() < until_s, otherwise
            time.sleep(0.1)

    def say(self, kind: str, batch: str | None = None, **body: object) -> str:
        """Add one entry to drum-4's journal through the API, as another device would; the code of its batch."""
        entry = {"id": str(uuid4()), "machine": "drum-4", "batch": batch, "kind": kind, "body": body}
        entry |= {"at_ms": self.get("/api/clock")["now_ms"], "by": {"person": "Tomas", "device": "desk"}}
        payload = json.dumps({"entries": [entry]}).encode()
        request = Request(self.url + "/api/entries", payload, {"Content-Type": "application/json"})
        with urlopen(request, timeout=10) as answer:
            result = json.load(answer)["results"][0]
        assert result["status"] == "stored", result
        return str(result["batch"])

    @property
    def processes(self) -> list[psutil.Process]:
        """All that it started, itself first."""
        return [(first := psutil.Process(self._process.pid)), *first.children(recursive=True)]

    def _ended(self, by: signal.Signals) -> int | None:
        """Its exit status, once it has ended by a signal or by itself; None where it does not end."""
        code = self._process.poll()
        if code is None:
            os.kill(self._process.pid, by)
        until_s = time.monotonic() + DOWN_S
        while code is None and time.monotonic() < until_s:
            time.sleep(0.02)
            code = self._process.poll()
        return code

    def stop(self) -> list[str]:
        """Interrupt it as Ctrl-C does; what was left running or did not end well."""
        children = []
        with suppress(psutil.NoSuchProcess):
            children = self.processes[1:]
        code = self._ended(signal.SIGINT)
        left = []
        if code is None:
            left.append(f"process {self._process.pid} did not end")
            self._ended(signal.SIGKILL)
        elif code not in {0, 130}:  # 130: ended by an interrupt, as a shell counts it
            left.append(f"exit status {code}: {self._log.read_text(encoding='utf-8')[-2000:]}")
        _, orphans = psutil.wait_procs(children, timeout=5)
        for orphan in orphans:
            with suppress(psutil.NoSuchProcess):
                left.append(f"orphan {orphan.pid}: {' '.join(orphan.cmdline())}")
                orphan.kill()
        return left
