"""The times of a curve stay correct when the computer's clock jumps, summer time changes, or the computer sleeps."""

import time
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from uuid import uuid4

import pytest

from roastlog import clock as clock_module
from roastlog.clock import Clock
from roastlog.instruments.base import Reading
from roastlog.services import Services, open_services
from roastlog.trace.codes import parse_code
from tests.conftest import SHEET, START_MS, Bench

NO_BATTERY_S = 1_577_836_800.0  # 2020-01-01, UTC: the initial time of a computer without a battery clock
NETWORK_S = 1_795_600_000.0


class Hands:
    """The computer's clocks, set by hand: the wall clock and the monotonic one."""

    def __init__(self, wall_s: float) -> None:
        self.wall_s, self.ticks_s = wall_s, 1000.0

    def pass_by(self, duration_s: float) -> None:
        """Let time pass."""
        self.wall_s += duration_s
        self.ticks_s += duration_s


@pytest.fixture
def hands(monkeypatch: pytest.MonkeyPatch) -> Hands:
    """A computer that begins in the past."""
    hands = Hands(NO_BATTERY_S)
    monkeypatch.setattr(time, "time", lambda: hands.wall_s)
    monkeypatch.setattr(clock_module, "ticks_s", lambda: hands.ticks_s)
    return hands


@pytest.fixture
def running(hands: Hands, tmp_path: Path) -> Iterator[Services]:
    """Services on the computer's own clock."""
    services = open_services(tmp_path, Clock())
    services.machines.keep_sheet(SHEET)
    services.runtime.start()
    yield services
    services.close()


def said(services: Services, kind: str, batch: str | None = None, **body: object) -> str:
    """Send an entry now; returns the batch."""
    entry = {"id": str(uuid4()), "machine": "drum-4", "kind": kind, "body": body}
    entry |= {"at_ms": services.clock.now_ms()} | ({"batch": batch} if batch else {})
    told = services.journal.accept([entry])[0]
    assert told.status == "stored", told
    return str(told.batch)


def roast(services: Services, hands: Hands, at_s: dict[int, Callable[[], None]]) -> str:
    """Roast ten minutes with a reading a second, with actions at some of them; returns the batch."""
    code = said(services, "opened", coffee="Night Ferry")
    said(services, "moment", code, moment="charge")
    live = services.runtime.live("drum-4")
    for second in range(601):
        at_s.get(second, lambda: None)()
        live.take([Reading(services.clock.now_ms(), "bean_probe", 100.0 + second / 10)])
        if second == 500:
            said(services, "moment", code, moment="first_crack")
        hands.pass_by(1 if second < 600 else 0)
    said(services, "moment", code, moment="drop")
    live.save()
    return code


def test_a_clock_that_jumps_in_mid_roast_moves_nothing(running: Services, hands: Hands):
    """The network sets the clock seven years ahead, then back by an hour: the curve does not change."""

    def forward() -> None:
        hands.wall_s = NETWORK_S
        running.maintenance.set_clock()  # not now, since a batch is in the drum

    def back() -> None:
        hands.wall_s -= 3600
        running.maintenance.set_clock()

    told = running.batches.detail(roast(running, hands, {200: forward, 300: back}))
    assert told.moments["first_crack"] == pytest.approx(500, abs=0.01)
    assert told.moments["drop"] == pytest.approx(600, abs=0.01)
    curve = running.batches.record(told.code).curve
    assert curve.channels["bean_probe"].tolist() == pytest.approx([100 + second / 10 for second in range(601)])


def test_a_batch_in_the_drum_delays_the_clock_beside_batches_without_a_drop(running: Services, hands: Hands):
    """It was opened first; twenty others, opened later and never dropped, were charged more than 2 h ago."""
    code = said(running, "opened")
    for _ in range(20):
        said(running, "moment", said(running, "opened", coffee="Alder washed"), moment="charge")
        hands.pass_by(1)
    hands.pass_by(3 * 3600)
    said(running, "moment", code, moment="charge")
    hands.wall_s = NETWORK_S
    running.maintenance.set_clock()
    assert running.clock.now_ms() < NETWORK_S * 1000
    said(running, "moment", code, moment="drop")
    running.maintenance.set_clock()
    assert running.clock.now_ms() == pytest.approx(NETWORK_S * 1000, abs=10)


def test_a_batch_charged_ahead_of_now_does_not_hold_the_clock(running: Services, hands: Hands):
    """The power failed amid it, and the computer starts at a time before its charge until the network sets it."""
    hands.wall_s = NETWORK_S
    running.maintenance.set_clock()
    said(running, "moment", said(running, "opened"), moment="charge")
    hands.wall_s = NETWORK_S - 3600
    running.maintenance._clock = clock = Clock()
    hands.wall_s = NETWORK_S + 60
    running.maintenance.set_clock()
    assert clock.now_ms() == pytest.approx(hands.wall_s * 1000, abs=10)


def test_what_a_page_says_counts_after_the_clock_was_set_back(bench: Bench):
    """Settings, people and sheets that were stored by a clock ahead can be changed at once, each time."""
    services, year_s = bench.services, 365 * 86_400
    for at_s in (year_s, 0, -3600, 30):
        bench.clock.turn_to(at_s)
        services.settings.change({"business": f"Roastery {at_s}"})
        services.machines.keep_sheet(SHEET.replace("Four-kilo drum", f"Drum {at_s}"))
        services.people.add("Ines", f"I. {at_s}")
        assert services.settings.current().business == f"Roastery {at_s}"
        assert [machine.name for machine in services.machines.all()] == [f"Drum {at_s}"]
        assert [person.shown for person in services.people.all()] == [f"I. {at_s}"]
    early = {"id": str(uuid4()), "about": "house", "kind": "set", "at_ms": bench.clock.now_ms() + 86_400_000}
    told = services.journal.accept([early | {"body": {"business": "Ahead"}}])[0]
    assert told.status == "refused"


def test_the_next_batch_has_the_date_from_the_network(running: Services, hands: Hands):
    """When the drum is empty the clock is set; the earlier batch keeps its times, the next one has today's date."""

    def forward() -> None:
        hands.wall_s = NETWORK_S

    first = roast(running, hands, {200: forward})
    assert parse_code(first).day == datetime.fromtimestamp(NO_BATTERY_S).astimezone().date()
    running.maintenance.set_clock()
    assert running.clock.now_ms() == pytest.approx(hands.wall_s * 1000, abs=10)
    second = roast(running, hands, {})
    assert parse_code(second).day == datetime.fromtimestamp(NETWORK_S).astimezone().date()
    for code in (first, second):
        told = running.batches.detail(code)
        assert told.moments["drop"] == pytest.approx(600, abs=0.01)
        assert running.batches.record(code).curve.channels["bean_probe"].tolist() == pytest.approx(
            [100 + second / 10 for second in range(601)]
        )


def test_a_sleep_of_90_s_is_a_gap_and_shifts_nothing(bench: Bench):
    """No readings during the computer's sleep; the first crack and the drop after it have their true times."""
    code = bench.open()
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    live = bench.services.runtime.live("drum-4")
    for second in [*range(300), *range(390, 601)]:
        bench.clock.turn_to(second)
        live.take([Reading(bench.clock.now_ms(), "bean_probe", 100.0 + second / 10)])
    bench.say(bench.entry("moment", 500, batch=code, moment="first_crack"))
    bench.say(bench.entry("moment", 600, batch=code, moment="drop"))
    columns = live.columns()
    told = bench.client.get(f"/api/batches/{code}/curve").get_json()
    for values in (columns["bean_probe"][:600], told["bean_probe"][:600]):
        assert values[299] == pytest.approx(129.9, abs=0.01)
        assert set(values[302:390]) == {None}
        assert values[390:] == pytest.approx([100 + second / 10 for second in range(390, 600)], abs=0.01)
    assert bench.client.get(f"/api/batches/{code}").get_json()["metrics"]["development_s"] == 100


@pytest.mark.usefixtures("berlin")
@pytest.mark.parametrize("charge", ["2026-03-29T00:55:00+00:00", "2026-10-25T00:55:00+00:00"])
def test_summer_time_that_begins_or_ends_in_mid_roast_moves_nothing(bench: Bench, charge: str):
    """Around an hour that is skipped or repeated, ten minutes are ten, and the date is correct."""
    start_s = round(datetime.fromisoformat(charge).timestamp()) - START_MS // 1000
    bench.clock.turn_to(start_s - 30)
    code = bench.roast(600, start_s=start_s)
    told = bench.client.get(f"/api/batches/{code}").get_json()
    assert told["metrics"]["duration_s"] == 600
    assert told["moments"]["drop"] == 600
    assert parse_code(code).day.isoformat() == charge[:10]
    values = bench.client.get(f"/api/batches/{code}/curve").get_json()["bean_surface"]
    assert values[1:] == pytest.approx([90 + second / 5 for second in range(1, 601)], abs=0.01)
    assert bench.client.get(f"/batches/{code}").status_code == 200
