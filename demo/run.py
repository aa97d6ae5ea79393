"""The command `demo`: the invented roastery in a fresh folder, its simulated machine beside it, and the server."""

import socket
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path
from typing import Final

from rich.progress import Progress

from roastlog.clock import Clock
from roastlog.commands import tell_address
from roastlog.services import LotRow, Services, open_services
from roastlog.web.server import Serving, claim_port, secured, serve

from . import roaster, scenario
from .week import PastBatch, batch_count, week

MODBUS_PORT: Final = 5020
WAIT_S: Final = 5.0


def run_demo(folder: Path | None, host: str, port: int, speed: float, *, secure_port: int | None = None) -> None:
    """Fill the folder where it is empty, start the simulated roaster with its operator, and serve until interrupted."""
    claim_port(host, port)  # the demo's operator must not write into a Drumside that answers there already
    folder = folder or Path(tempfile.mkdtemp(prefix="drumside-demo-"))
    modbus_port = _free_port()
    services = open_services(folder, Clock())
    furnish(services, modbus_port)
    services.close()
    print(f"The demo's data is in {folder}")
    machine = _start_roaster(modbus_port, speed, port)
    try:
        secure = None if secure_port is None else secured(folder, host, port, secure_port)
        serving = Serving(folder, host, port, speed, secure)
        tell_address(serving, "own")
        serve(serving)
    finally:
        machine.terminate()
        with suppress(subprocess.TimeoutExpired):
            machine.wait(WAIT_S)


def furnish(services: Services, modbus_port: int) -> None:
    """Put the scenario into an empty database: settings, people, lots, the machine, and a week of batches."""
    sheet = scenario.SHEET.read_text(encoding="utf-8").replace(str(MODBUS_PORT), str(modbus_port))
    services.machines.keep_sheet(sheet)
    if services.batches.page().total:
        return
    services.settings.change(scenario.SETTINGS)
    for name in scenario.PEOPLE:
        services.people.add(name, name)
    for coffee in scenario.COFFEES:
        services.lots.keep(LotRow(**vars(coffee.lot)))
    now_ms = services.clock.now_ms()
    with Progress(transient=True) as progress:
        for past in progress.track(week(now_ms), total=batch_count(now_ms), description="Roasting the week before"):
            services.journal.import_batch(past.entries, rows_of(past))


def rows_of(past: PastBatch) -> list[tuple[int, dict[str, float]]]:
    """The readings of a batch as the store takes them."""
    columns = {name: values.tolist() for name, values in past.channels.items()}
    return [
        (at_ms, {name: values[index] for name, values in columns.items()})
        for index, at_ms in enumerate(past.at_ms.tolist())
    ]


def _start_roaster(modbus_port: int, speed: float, port: int) -> subprocess.Popen[bytes]:
    arguments = ["--port", str(modbus_port), "--speed", str(speed), "--drumside", f"http://127.0.0.1:{port}"]
    started = subprocess.Popen([sys.executable, "-m", roaster.__name__, *arguments], stdout=subprocess.DEVNULL)
    until_s = time.monotonic() + WAIT_S
    while time.monotonic() < until_s:  # it is up within a second; the recorder would retry, but later
        with suppress(OSError), socket.create_connection(("127.0.0.1", modbus_port), 0.2):
            break
        time.sleep(0.05)
    return started


def _free_port() -> int:
    """The usual port if it is free, else any."""
    for port in (MODBUS_PORT, 0):
        with suppress(OSError), socket.socket() as probe:
            probe.bind(("127.0.0.1", port))
            return int(probe.getsockname()[1])
    return MODBUS_PORT
