"""Shared fixtures: a clock set by hand, services over a fresh folder, an app and its client."""

import gc
import os
import shutil
import time
import zlib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import HealthCheck, settings

from roastlog.clock import Clock
from roastlog.instruments.base import Reading
from roastlog.services import LotRow, Services, open_services
from roastlog.web.app import create_app
from tests.kept import keep_templates

# The duration of an example decides nothing. A laptop tries new examples each time; CI the same ones, so that it gives
# the same result for the same commit.
settings.register_profile("laptop", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", settings.get_profile("laptop"), derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "laptop")

MEMORY = Path("/dev/shm")  # noqa: S108 - Linux's file system in memory
MEMORY_NEEDED_BYTES = 2_000_000_000
DRAWN_DEMOS = 2
WAITING = ("lan", "soak", "test_ground", "test_restart")  # groups that mostly wait: they begin first, beside all others
STARTING_SERVERS = {"test_restart", "test_ground"}  # each on one worker, which has one launcher for all of them

START_MS = 1_795_600_000_000

SHEET = """
id = "drum-4"
name = "Four-kilo drum"
batch_g = [800, 4500]
[[channels]]
id = "bean_probe"
name = "Bean probe"
role = "bean_probe"
http = {}
[[channels]]
id = "bean_surface"
name = "Bean surface"
role = "bean_surface"
http = {}
[[controls]]
id = "radiant"
name = "Radiant"
unit = "step"
low = 0
high = 10
step = 0.5
"""


class HandClock(Clock):
    """A clock that stands still until a test sets it."""

    def __init__(self, now_ms: int = START_MS) -> None:
        super().__init__()
        self._now_ms = now_ms

    def now_ms(self) -> int:
        """The time that it was set to. [ms UTC]"""
        return self._now_ms

    def turn_to(self, time_s: float) -> None:
        """Set it to a time after `START_MS`. [s]"""
        self._now_ms = START_MS + round(time_s * 1000)


class Bench:
    """An app, its services and its clock, with short methods for frequent steps."""

    def __init__(self, services: Services, clock: HandClock, app: Flask) -> None:
        self.services, self.clock, self.app = services, clock, app
        self.client: FlaskClient = app.test_client()

    def entry(self, kind: str, at_s: float = 0.0, *, batch: str | None = None, **body: object) -> dict[str, object]:
        """An entry in the form that a phone sends."""
        made: dict[str, object] = {
            "id": str(uuid4()),
            "machine": "drum-4",
            "kind": kind,
            "at_ms": START_MS + round(at_s * 1000),
            "by": {"person": "Ines", "device": "phone"},
            "body": body,
        }
        return made if batch is None else {**made, "batch": batch}

    def say(self, *entries: dict[str, object]) -> list[dict[str, str]]:
        """Send entries and have them shown; returns their results."""
        answer = self.client.post("/api/entries", json={"entries": list(entries)})
        assert answer.status_code == 200, answer.text
        for machine in self.services.runtime.machines():
            self.services.runtime.refresh(machine.id)
        return answer.get_json()["results"]

    def open(self, at_s: float = -30.0, **facts: object) -> str:
        """Open a batch; returns its code."""
        return self.say(self.entry("opened", at_s, **facts))[0]["batch"]

    def push(self, *readings: tuple[float, str, float]) -> dict[str, object]:
        """Push readings of (seconds after the start, channel, value)."""
        payload = [
            {"at_ms": START_MS + round(at_s * 1000), "channel": channel, "value": value}
            for at_s, channel, value in readings
        ]
        answer = self.client.post("/api/machines/drum-4/readings", json={"readings": payload})
        assert answer.status_code == 202, answer.text
        return answer.get_json()

    def roast(self, until_s: int = 600, *, start_s: int = 0, **facts: object) -> str:
        """A whole batch with readings, charged at a time of the clock; returns its code."""
        code = self.open(start_s - 30.0, **facts)
        self.say(self.entry("moment", start_s, batch=code, moment="charge"))
        live = self.services.runtime.live("drum-4")  # passed on like an instrument's thread; `push` uses the API
        for second in range(until_s + 1):
            self.clock.turn_to(start_s + second)
            values = {
                "bean_probe": 95 + 105 * 2.718 ** (-second / 20) + second / 600 * 112,
                "bean_surface": 90 + second / 600 * 120,
            }
            live.take([Reading(self.clock.now_ms(), channel, value) for channel, value in values.items()])
        self.say(
            self.entry("moment", start_s + until_s * 0.5, batch=code, moment="yellow"),
            self.entry("moment", start_s + until_s * 0.87, batch=code, moment="first_crack"),
            self.entry("moment", start_s + until_s, batch=code, moment="drop"),
        )
        return code


@pytest.fixture
def clock() -> HandClock:
    """A clock set by hand."""
    return HandClock()


@pytest.fixture
def berlin(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A zone with summer time, on from 2026-03-29 to 2026-10-25, at 01:00 UTC (EU: last Sundays)."""
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.fixture(scope="session")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with one machine, whose readings are pushed, and one green lot: made once, then copied."""
    folder = tmp_path_factory.mktemp("furnished") / "data"
    services = open_services(folder, HandClock())
    services.machines.keep_sheet(SHEET)
    services.lots.keep(LotRow("HU-7", "Alder washed", origin="Huila", cup="bright, stone fruit", bought_g=20_000))
    services.close()
    return folder


@pytest.fixture
def services(tmp_path: Path, clock: HandClock, furnished: Path) -> Iterator[Services]:
    """Services over a folder of the test's own, with a machine and a green lot."""
    services = open_services(shutil.copytree(furnished, tmp_path / "data"), clock)
    services.start()
    yield services
    services.close()


@pytest.fixture(scope="session")
def routed(furnished: Path) -> Flask:
    """The app with its routes and templates, which cost more to create than most tests take."""
    services = open_services(furnished, HandClock())
    services.close()
    keep_templates()
    return create_app(services)


@pytest.fixture
def app(services: Services, routed: Flask) -> Iterator[Flask]:
    """The app over this test's services; everything that belongs to one server is in its extensions."""
    kept = dict(routed.extensions)
    routed.extensions["services"] = services
    yield routed
    routed.extensions = kept


@pytest.fixture
def bench(services: Services, clock: HandClock, app: Flask) -> Bench:
    """App, services and clock together."""
    return Bench(services, clock, app)


def _runs_programs(folder: Path) -> bool:
    """Whether a program in a folder can be run, as the test of the wheel does; in some containers it cannot."""
    return not os.statvfs(folder).f_flag & os.ST_NOEXEC


@pytest.hookimpl(tryfirst=True)  # before pytest chooses where `tmp_path` is
def pytest_configure(config: pytest.Config) -> None:
    """Work in memory where there is room, and count the seconds in the process that collects the results.

    Each commit waits for the disk, and no test can claim what only a power cut shows.
    """
    if MEMORY.is_dir() and shutil.disk_usage(MEMORY).free > MEMORY_NEEDED_BYTES and _runs_programs(MEMORY):
        os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(MEMORY))
    if hasattr(config, "workerinput"):
        gc.disable()  # until all is imported
    else:
        config.pluginmanager.register(FolderSeconds())


@pytest.hookimpl(optionalhook=True)
def pytest_collection_finish() -> None:
    """Leave all that was imported out of the garbage collections, which took a tenth of the processor's time."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)
    gc.enable()


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """Two workers per core: many tests wait for a wire, a timer or a process. One more without Chromium."""
    more = config.option.markexpr == "not browser"
    return min(8, 2 * (os.cpu_count() or 1) + more)


@pytest.hookimpl(tryfirst=True)  # before xdist reads the groups
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep tests with a costly shared fixture on one worker, so that it is made once.

    That applies to the demo, to fixtures of a module, and to the results of roasts in each module of `tests/curve`.
    Tests of the local network see each other's names, so they run one after the other too.
    """
    for item in items:
        fixtures = item._fixtureinfo.name2fixturedefs if isinstance(item, pytest.Function) else {}
        if "demo" in fixtures:  # several, since in sequence they would determine the gate's time
            number = zlib.crc32(item.nodeid.encode()) % DRAWN_DEMOS if item.get_closest_marker("drawn") else "undrawn"
            item.add_marker(pytest.mark.xdist_group(f"demo {number}"))
        elif item.path.parent.name == "lan" or "lan" in fixtures:
            item.add_marker(pytest.mark.xdist_group("lan"))
        elif item.path.parent.name == "soak" or item.path.stem in STARTING_SERVERS:
            item.add_marker(pytest.mark.xdist_group("soak" if item.path.parent.name == "soak" else item.path.stem))
        elif item.path.parent.name == "curve" or any(made[-1].scope == "module" for made in fixtures.values()):
            item.add_marker(pytest.mark.xdist_group(item.path.stem))
    _order(items)


def _order(items: list[pytest.Item]) -> None:
    """Begin with the groups that wait, then the other groups, largest first: what begins last determines the end."""
    groups = [marker.args[0] if (marker := item.get_closest_marker("xdist_group")) else None for item in items]
    size, place = Counter(groups), {id(item): group for item, group in zip(items, groups, strict=True)}

    def turn(item: pytest.Item) -> tuple[int, int]:
        group = place[id(item)]
        if group in WAITING:
            return WAITING.index(group), 0
        return len(WAITING), 0 if group is None else -size[group]

    items.sort(key=turn)


class FolderSeconds:
    """Duration of each folder's tests, including set-up and teardown; printed at the end."""

    def __init__(self) -> None:
        self._spent_s: Counter[str] = Counter()

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Add a phase of a test to its folder."""
        parts = report.nodeid.partition("::")[0].split("/")
        self._spent_s["/".join(parts[: min(2, len(parts) - 1)])] += report.duration

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        """Print the sums, longest first."""
        terminalreporter.section("seconds of each folder, summed over all workers")
        for folder, spent_s in self._spent_s.most_common():
            terminalreporter.write_line(f"{spent_s:8.1f} s  {folder}")
