"""Resident memory after a whole roast watched by 20 screens: the demo, with its clock running fast."""

import http.client
import sys
import tempfile
import time
from urllib.parse import quote

from tests.bench.report import Figure
from tests.bench.running import bare_server, get, post, running
from tests.bench.watchers import watching
from tests.ports import held_port

WATCHERS = 20
SPEED = 30
LONGEST_S = 90.0
ROASTER = "demo.roaster"  # the simulated machine is a separate process and not part of Drumside


def measure() -> list[Figure]:
    """The demo's server from charge to drop, and the relay after as many events as one roast has entries."""
    name = f"resident memory after a batch with {WATCHERS} watchers"
    return [Figure(name, _roasted_mb(), "MB", _relayed_mb(), "bare SSE relay, without Bokeh", "≤ 250 MB")]


def _roasted_mb() -> float:
    port = held_port()
    demo = [sys.executable, "app.py", "demo", "--host", "127.0.0.1", "--port", str(port), "--speed", str(SPEED)]
    with (
        tempfile.TemporaryDirectory(prefix="drumside-bench-") as folder,
        running([*demo, "--data", folder], port, within_s=60) as server,
        watching(port, "/machines/drum-4/live", WATCHERS, "entry"),
    ):
        _read(port, "/machines/drum-4")  # a page with a figure, which loads Bokeh
        code = _dropped(port)
        _read(port, f"/batches/{quote(code)}")
        return server.resident_mb(without=ROASTER)


def _dropped(port: int) -> str:
    """Wait until a batch that was charged here has been dropped; returns its code."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    until_s, roasting = time.perf_counter() + LONGEST_S, ""
    while time.perf_counter() < until_s:
        batch = get(connection, "/machines/drum-4/view")["batch"] or {}
        if batch.get("state") == "roasting":
            roasting = batch["code"]
        elif roasting:
            connection.close()
            return roasting
        time.sleep(0.5)
    raise RuntimeError(f"no batch went from charge to drop within {LONGEST_S:.0f} s at speed {SPEED}")


def _read(port: int, path: str) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    connection.request("GET", path)
    answer = connection.getresponse()
    answer.read()
    connection.close()
    if answer.status != http.client.OK:
        raise RuntimeError(f"{path} gave {answer.status}")


def _relayed_mb() -> float:
    with bare_server() as server, watching(server.port, "/watch", WATCHERS, "entry") as watchers:
        connection = http.client.HTTPConnection("127.0.0.1", server.port)
        time.sleep(0.5)
        for number in range(40):
            post(connection, "/tap", {"text": f"note {number}."})
        watchers.when("note 39.", WATCHERS)
        connection.close()
        return server.resident_mb()
