"""The command `demo`: the invented roastery in a fresh folder, its simulated machine beside it, and the server."""

import re
import subprocess
import sys
import tempfile
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Final
from uuid import uuid4, uuid5

from rich.progress import Progress

from roastlog.clock import Clock
from roastlog.commands import tell_address
from roastlog.errors import SettingError
from roastlog.journal.kinds.sales import Component, Composed, Packaging
from roastlog.services import Services, Speaker, open_services
from roastlog.trace.codes import pack_code
from roastlog.web.server import Serving, claim_port, secured, serve

from . import roaster, scenario
from .week import NAMESPACE, PastBatch, batch_count, week

MODBUS_PORT: Final = 5020
WAIT_S: Final = 5.0
BAG_G: Final = 250
MINUTE_MS: Final = 60_000
DAY_MS: Final = 86_400_000
PACKED_AFTER_MS: Final = 3 * 3_600_000


def run_demo(folder: Path | None, host: str, port: int, speed: float, *, secure_port: int | None = None) -> None:
    """Fill the folder where it is empty, start the simulated roaster with its operator, and serve until interrupted."""
    claim_port(host, port)  # the demo's operator must not write into a Drumside that answers there already
    folder = folder or Path(tempfile.mkdtemp(prefix="drumside-demo-"))
    services = open_services(folder, Clock())
    furnish(services)
    machine, modbus_port = _start_roaster(speed, port)
    try:
        services.machines.keep_sheet(sheet(modbus_port))
        services.close()
        print(f"The demo's data is in {folder}")
        secure = None if secure_port is None else secured(folder, host, port, secure_port)
        serving = Serving(folder, host, port, speed, secure)
        tell_address(serving, "own")
        serve(serving)
    finally:
        machine.terminate()
        with suppress(subprocess.TimeoutExpired):
            machine.wait(WAIT_S)


def sheet(modbus_port: int) -> str:
    """The machine's sheet, with the port at which its registers answer."""
    return scenario.SHEET.read_text(encoding="utf-8").replace(str(MODBUS_PORT), str(modbus_port))


def furnish(services: Services) -> None:
    """Fill an empty database with the scenario: settings, people, lots, the machine, and a week of batches."""
    services.machines.keep_sheet(sheet(MODBUS_PORT))
    if services.batches.page().total:
        return
    services.settings.change(scenario.SETTINGS)
    for name in scenario.PEOPLE:
        services.people.add(name, name)
    now_ms = services.clock.now_ms()
    for coffee in scenario.COFFEES:
        _receive(services, coffee.lot, now_ms - 10 * DAY_MS)  # before the week that roasts it
    for lot in scenario.OTHER_LOTS:
        _receive(services, lot, now_ms - DAY_MS)
    with Progress(transient=True) as progress:
        for past in progress.track(week(now_ms), total=batch_count(now_ms), description="Roasting the week before"):
            services.journal.import_batch(past.entries, rows_of(past))
    pack_week(services, now_ms)


def pack_week(services: Services, now_ms: int) -> None:
    """A product of each coffee, and packs of the batches that were released more than a day ago."""
    codes = {}
    for coffee in scenario.COFFEES:
        facts = Composed(
            name=coffee.lot.coffee,
            parts=[Component(lot=coffee.lot.code, share=1)],
            intent=coffee.intent,
            bag_g=BAG_G,
            packagings=[Packaging(name="valve bag", best_before_days=180, reason="house test of last year")],
        )
        codes[coffee.lot.code] = services.products.keep(None, facts, Speaker(device="bench tablet"))
    for batch in services.batches.page(state="released").items:
        if batch.dropped_ms is None or batch.dropped_ms > now_ms - DAY_MS or batch.lot not in codes:
            continue
        source = services.packing.source(batch.code)
        day, rule = services.packing.best_before(codes[batch.lot], "valve bag", source)
        count = source.left_g // (BAG_G + 1)  # a gram a bag is given away
        body = {"parts": [{"batch": batch.code, "grams": count * (BAG_G + 1)}], "bag_g": BAG_G, "count": count}
        body |= {"product": codes[batch.lot], "packaging": "valve bag", "weights_g": [251.0, 250.5, 251.5]}
        body |= {"best_before": str(day), "best_before_rule": str(rule)}
        about = {"id": str(uuid5(NAMESPACE, f"pack {batch.code}")), "about": f"pack {pack_code(batch.code, 1)}"}
        by = {"person": scenario.INES, "device": "bench tablet"}
        at_ms = batch.dropped_ms + PACKED_AFTER_MS
        services.journal.accept([about | {"kind": "packed", "at_ms": at_ms, "by": by, "body": body}])


def _receive(services: Services, lot: scenario.DemoLot, until_ms: int) -> None:
    """Enter a lot's arrival at nine on its day, and what followed, each at its time but none later than a time."""
    arrived_ms = round(datetime.fromisoformat(f"{lot.arrived}T09:00").astimezone().timestamp() * 1000)
    said = [(0, "arrived", lot.facts), *lot.said]
    entries = [
        {
            "id": str(uuid4()),
            "about": f"lot {lot.code}",
            "kind": kind,
            "at_ms": min(arrived_ms + days * DAY_MS, until_ms) + index * MINUTE_MS,
            "by": {"person": scenario.INES},
            "body": body,
        }
        for index, (days, kind, body) in enumerate(said)
    ]
    refused = [result.reason for result in services.journal.accept(entries) if result.status == "refused"]
    if refused:
        raise SettingError(f"Lot {lot.code}: {refused[0]}")


def rows_of(past: PastBatch) -> list[tuple[int, dict[str, float]]]:
    """The readings of a batch in the store's format."""
    columns = {name: values.tolist() for name, values in past.channels.items()}
    return [
        (at_ms, {name: values[index] for name, values in columns.items()})
        for index, at_ms in enumerate(past.at_ms.tolist())
    ]


def _start_roaster(speed: float, port: int) -> tuple[subprocess.Popen[str], int]:
    """Start it on its usual port, else on any; returns the process and its port."""
    words = ["--port", str(MODBUS_PORT), "0", "--speed", str(speed), "--drumside", f"http://127.0.0.1:{port}"]
    started = subprocess.Popen([sys.executable, "-m", roaster.__name__, *words], stdout=subprocess.PIPE, text=True)
    said = started.stdout.readline() if started.stdout is not None else ""
    answering = re.search(r":(\d+),", said)
    if answering is None:
        started.wait()
        raise SettingError("The simulated roaster finds no port of this computer to answer at.")
    return started, int(answering[1])
