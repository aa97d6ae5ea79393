"""The simulated roaster as a process that speaks Modbus TCP."""

import json
import os
import signal
import socket
import subprocess
import sys
import textwrap
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from pymodbus.client import ModbusTcpClient

from demo.drum import Drum
from demo.registers import RegisterServer
from demo.roaster import bean_of
from demo.scenario import MACHINE, NIGHT_FERRY, SHEET
from roastlog.clock import Clock
from roastlog.instruments.base import Reading
from roastlog.instruments.build import build_instruments
from roastlog.machine.sheet import parse_sheet
from roastlog.physics.design import GreenCoffee
from tests.ports import held_port

ROOT = Path(__file__).parents[2]


def wait_for(what, limit_s: float = 20.0):
    """Poll until ``what()`` is true; returns its value."""
    end_s = time.monotonic() + limit_s
    while time.monotonic() < end_s:
        if value := what():
            return value
        time.sleep(0.05)
    raise AssertionError(f"it did not come about within {limit_s:g} s")


def answers(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), timeout=0.5).close()
    except OSError:
        return False
    return True


@contextmanager
def process(*arguments: str) -> Iterator[subprocess.Popen[str]]:
    """The roaster as its own process, ended by its pid."""
    child = subprocess.Popen(
        [sys.executable, "-m", "demo.roaster", *arguments], cwd=ROOT, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    try:
        yield child
    finally:
        child.kill()
        child.communicate()


class EntryServer:
    """A few lines of HTTP that store entries like Drumside, to record the operator's entries."""

    def __init__(self, rate: float) -> None:
        self.clock = Clock(rate)
        self.entries: list[dict[str, Any]] = []
        self.tokens: set[str | None] = set()
        owner = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                owner.tokens.add(self.headers.get("Authorization"))
                self.answer(owner.get(self.path))

            def do_POST(self) -> None:
                raw = self.rfile.read(int(self.headers["Content-Length"]))
                self.answer(owner.post(json.loads(raw)["entries"]))

            def answer(self, body: dict[str, Any]) -> None:
                data = json.dumps(body).encode()
                self.send_response(200)
                self.send_header("Content-Length", str(len(data)))
                self.end_headers()
                self.wfile.write(data)

            def log_message(self, *_: object) -> None:
                """Log nothing."""

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_port}"

    def get(self, path: str) -> dict[str, Any]:
        if path == "/api/clock":
            return {"now_ms": self.clock.now_ms(), "rate": self.clock.rate}
        if path == "/healthz":
            return {"status": "ok"}
        after = int(path.rpartition("after=")[2])
        assert path.startswith(f"/api/entries?machine={MACHINE}&")
        return {"entries": self.entries[after:], "seq": len(self.entries)}

    def post(self, entries: list[dict[str, Any]]) -> dict[str, Any]:
        for entry in entries:
            kept = {**entry, "batch": "26330-01X", "seq": len(self.entries) + 1}
            self.entries.append(kept)
        return {"results": [{"id": entry["id"], "status": "stored"} for entry in entries]}

    def tap(self, kind: str, body: dict[str, Any]) -> None:
        by = {"person": "Wren", "device": "Wren's phone"}
        entry = {"id": f"t{len(self.entries)}", "machine": MACHINE, "kind": kind, "body": body, "by": by}
        self.post([{**entry, "at_ms": self.clock.now_ms()}])

    def moments(self) -> dict[str, dict[str, Any]]:
        return {entry["body"]["moment"]: entry for entry in list(self.entries) if entry["kind"] == "moment"}


@contextmanager
def entry_server(rate: float) -> Iterator[EntryServer]:
    running = EntryServer(rate)
    thread = threading.Thread(target=running.server.serve_forever, daemon=True)
    thread.start()
    try:
        yield running
    finally:
        running.server.shutdown()
        running.server.server_close()
        thread.join()


def test_drumsides_own_driver_reads_the_demos_sheet():
    """Channels of demo/drum-4.toml, and the control with a register, are read over loopback with the drum's values."""
    port = held_port()
    drum = Drum(seed=2)
    server = RegisterServer(drum, port)
    server.start()
    try:
        text = SHEET.read_text(encoding="utf-8").replace("port = 5020", f"port = {port}")
        ((instrument, poll_s),) = build_instruments(parse_sheet(text), Clock())
        instrument.open()
        values = {answer.channel: answer.value for answer in instrument.read(poll_s) if isinstance(answer, Reading)}
        instrument.close()
    finally:
        server.stop()
    assert values == pytest.approx(drum.readings() | {"stir": drum.levels()["stir"]})
    assert {poll_s[channel] for channel in drum.readings()} == {0.25}


def test_writing_a_holding_register_turns_the_knob():
    """As on a real machine; a value beyond the range or an unknown register is refused."""
    port = held_port()
    drum = Drum()
    server = RegisterServer(drum, port)
    server.start()
    client = ModbusTcpClient("127.0.0.1", port=port, timeout=2, retries=0)
    try:
        assert client.connect()
        assert not client.write_register(11, 45, device_id=1).isError()
        assert drum.levels()["radiant"] == 4.5
        assert client.read_holding_registers(10, count=4, device_id=1).registers == [
            round(10 * level) for level in drum.levels().values()
        ]
        assert client.write_register(11, 101, device_id=1).isError()
        assert client.write_register(0, 5, device_id=1).isError()
        assert drum.levels()["radiant"] == 4.5
    finally:
        client.close()
        server.stop()
    assert not answers(port)


def test_a_taken_port_is_reported_and_ends_it():
    """A second roaster on the same port reports that and returns 2."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with process("--port", str(port)) as child:
            _, trouble = child.communicate(timeout=20)
    assert child.returncode == 2
    assert str(port) in trouble


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_it_ends_cleanly_on_request(number: signal.Signals):
    """Return code 0, nothing on stderr, port free again."""
    port = held_port()
    with process("--port", str(port)) as child:
        wait_for(lambda: answers(port))
        child.send_signal(number)
        _, trouble = child.communicate(timeout=20)
    assert (child.returncode, trouble) == (0, "")
    assert not answers(port)


@pytest.mark.skipif(os.name != "posix", reason="only POSIX systems tell of a dead parent in this way")
def test_it_ends_when_its_parent_is_gone():
    """A roaster whose parent was killed releases its port within seconds."""
    port = held_port()
    code = textwrap.dedent(f"""
        import subprocess, sys, time
        subprocess.Popen([sys.executable, "-m", "demo.roaster", "--port", "{port}"])
        time.sleep(60)
    """)
    parent = subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.DEVNULL)
    try:
        wait_for(lambda: answers(port))
    finally:
        parent.kill()
        parent.wait()
    wait_for(lambda: not answers(port))


def test_the_operator_roasts_a_batch_over_the_wire():
    """At 300 times real time: opened, charged, tapped, dropped and weighed, by Drumside's clock."""
    with entry_server(300.0) as drumside, process(
        "--port", str(held_port()), "--speed", "300", "--drumside", drumside.url, "--token", "secret"
    ):  # fmt: skip
        wait_for(lambda: "weighed" in {entry["kind"] for entry in list(drumside.entries)}, 40)
        time_s = {name: entry["at_ms"] / 1000 for name, entry in drumside.moments().items()}
        assert drumside.tokens == {"Bearer secret"}
    assert drumside.entries[0]["kind"] == "opened"
    assert list(time_s) == ["charge", "yellow", "first_crack", "drop"]
    assert 480 < time_s["first_crack"] - time_s["charge"] < 600
    assert {entry["by"]["device"] for entry in drumside.entries} == {"demo-operator"}


def test_a_newcomer_takes_over_over_the_wire():
    """After a tap from another phone the operator is silent, and that phone's move and drop reach the machine."""
    port = held_port()
    with entry_server(60.0) as drumside, process(
        "--port", str(port), "--speed", "60", "--drumside", drumside.url
    ):  # fmt: skip
        wait_for(lambda: "charge" in drumside.moments())
        drumside.tap("move", {"control": "stir", "setting": 9.0})
        client = ModbusTcpClient("127.0.0.1", port=port, timeout=2, retries=0)
        assert client.connect()

        def stir() -> int:
            return int(client.read_holding_registers(13, count=1, device_id=1).registers[0])

        def probe() -> int:
            return int(client.read_input_registers(0, count=1, device_id=1).registers[0])

        wait_for(lambda: stir() == 90)
        said = len(drumside.entries)
        wait_for(lambda: probe() < 1100)
        drumside.tap("moment", {"moment": "drop"})
        wait_for(lambda: probe() > 1500)
        client.close()
    # The operator's own note about the takeover may come late.
    assert [entry["kind"] for entry in drumside.entries[said:] if entry["kind"] != "note"] == ["moment"]


def test_a_coffee_of_the_house_is_known_by_lot_or_name():
    """Its bean is used for a batch that someone else opens; any other coffee is a standard bean."""
    assert bean_of({"lot": "QW-258"}) == bean_of({"coffee": "Night Ferry"}) == NIGHT_FERRY.bean
    assert bean_of({}) == GreenCoffee()
