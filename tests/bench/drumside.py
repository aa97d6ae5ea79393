"""Drumside under measurement: in a fresh folder, with a machine of pushed readings, used through its API."""

import http.client
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Self
from uuid import uuid4

from tests.bench import roast
from tests.bench.running import ROOT, Running, get, post, running
from tests.ports import held_port

PAGE = "/machines/bench"
LIVE = "/machines/bench/live"
READINGS = "/api/machines/bench/readings"


@contextmanager
def set_up() -> Iterator[Path]:
    """A data folder with the bench's machine."""
    with tempfile.TemporaryDirectory(prefix="drumside-bench-") as folder:
        sheet = Path(folder) / "bench.toml"
        sheet.write_text(roast.SHEET, encoding="utf-8")
        command = [sys.executable, "app.py", "machine", "import", str(sheet), "--data", f"{folder}/data"]
        subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
        yield Path(folder) / "data"


@contextmanager
def serving(folder: Path) -> Iterator[Running]:
    """Drumside, started by the ordinary command."""
    port = held_port()
    with running([sys.executable, "app.py", "serve", "--data", str(folder), "--port", str(port)], port) as server:
        yield server


class Roast:
    """A batch under way on the bench's machine, so many seconds after its charge, fed at 4 Hz while the block runs."""

    def __init__(self, port: int, since_s: int) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        self._pushing = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        self._settle()
        now_ms: int = get(self.connection, "/api/clock")["now_ms"]
        self.charged_ms = now_ms - since_s * 1000
        for start_s in range(-2, since_s, 60):
            self._push(roast.instants(start_s, min(start_s + 60, since_s), self.charged_ms))
        self.opened = self.say("opened", {"coffee": "Alder washed", "green_g": 4000}, self.charged_ms - 60_000)
        self.say("moment", {"moment": "charge"}, self.charged_ms)
        for moment, at_s in (("yellow", 290), ("first_crack", 780)):
            if at_s < since_s:
                self.say("moment", {"moment": moment}, self.charged_ms + at_s * 1000)
        for number, control in enumerate(roast.CONTROLS):
            at_ms = self.charged_ms + number * 1000
            self.say("move", {"control": control["id"], "setting": 4.0 + number}, at_ms)
        self._stop = threading.Event()
        self._feeder = threading.Thread(target=self._feed, daemon=True)

    def _settle(self) -> None:
        """Request a page, so that work after the start of the server is done before the measurement."""
        self.connection.request("GET", PAGE)
        self.connection.getresponse().read()

    def say(self, kind: str, body: dict[str, object], at_ms: int | None = None) -> str:
        """Send one entry; returns its id."""
        ident = str(uuid4())
        entry: dict[str, object] = {"id": ident, "machine": "bench", "kind": kind, "body": body}
        entry["at_ms"] = self.charged_ms + 1 if at_ms is None else at_ms
        entry["by"] = {"person": "Ines", "device": "bench"}
        if kind != "opened":
            entry["batch"] = self.opened
        status, answer = post(self.connection, "/api/entries", {"entries": [entry]})
        if status != http.client.OK or answer["results"][0]["status"] != "stored":
            raise RuntimeError(f"{kind} was not kept: {status} {answer}")
        return ident

    def __enter__(self) -> Self:
        """Start feeding."""
        self._feeder.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop feeding, and drop the batch, so that the next part of the bench starts without one."""
        self._stop.set()
        self._feeder.join(5)
        self.connection.close()  # the server closes an idle connection; this one reconnects
        self.say("moment", {"moment": "drop"}, get(self.connection, "/api/clock")["now_ms"])
        self.connection.close()
        self._pushing.close()

    def _feed(self) -> None:
        zero_s = time.monotonic() - (get(self._pushing, "/api/clock")["now_ms"] - self.charged_ms) / 1000
        while not self._stop.wait(0.25 - (time.monotonic() - zero_s) % 0.25):
            since_s = int((time.monotonic() - zero_s) * 4) / 4
            self._push(roast.instants(since_s, since_s + 0.25, self.charged_ms))

    def _push(self, readings: list[dict[str, object]]) -> None:
        status, answer = post(self._pushing, READINGS, {"readings": readings})
        if status != http.client.ACCEPTED or answer["refused"]:
            raise RuntimeError(f"readings were not taken: {status} {answer}")
