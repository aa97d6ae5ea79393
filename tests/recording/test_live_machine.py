"""The live machine: its curve equals the later record, and the disk may fail for a while."""

import math
import sqlite3
from uuid import UUID

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from roastlog.curve.series import Curve
from roastlog.errors import StoreError
from roastlog.instruments.base import Reading
from roastlog.journal.fold import LONGEST_ROAST_S
from roastlog.recording.live_machine import LiveMachine
from roastlog.recording.runtime import UNSAVED
from roastlog.services import Services
from roastlog.store import readings as stored
from roastlog.threads import Repeater
from tests.conftest import SHEET, START_MS, Bench
from tests.recording.test_hub import until

HOUR_S = 3600


def live_of(bench: Bench) -> LiveMachine:
    """The machine of the bench."""
    return bench.services.runtime.live("drum-4")


def stored_curve(bench: Bench, code: str) -> Curve:
    """The curve as the record gives it, with the live rates."""
    record = bench.services.batches.record(code)
    return Curve(record.curve.time_s, record.curve.channels | record.rate_columns)


def assert_same(live: LiveMachine, curve: Curve, *, lacking: int = 0) -> None:
    """Assert that the live rows equal the record's, which may have a few more, of unfinished seconds."""
    columns = live.columns()
    rows = len(columns["t_s"])
    assert len(curve.time_s) - lacking <= rows <= len(curve.time_s)
    assert columns["t_s"] == curve.time_s[:rows].tolist()
    assert columns.keys() == {"t_s", *curve.channels}
    for name, column in columns.items():
        if name == "t_s":
            continue
        told = [math.nan if value is None else value for value in column]
        assert told == pytest.approx(curve.channels[name][:rows].tolist(), abs=0.006, nan_ok=True), name


def charge_of(bench: Bench, code: str) -> UUID:
    """The id of the charge's entry."""
    return bench.services.batches.record(code).batch.moments["charge"].id


def test_a_channels_offset_is_added_to_every_reading(bench: Bench):
    """The offset applies live, on the disk, and to readings that came too late to be shown."""
    bench.services.machines.add(SHEET.replace('role = "bean_probe"', 'role = "bean_probe"\noffset_c = -2.5'))
    bench.clock.turn_to(10)
    bench.push((10, "bean_probe", 200.0), (2, "bean_probe", 100.0), (10, "bean_surface", 150.0))
    live = live_of(bench)
    assert live.numbers().values == {"bean_probe": 197.5, "bean_surface": 150.0}
    live.save()
    rows = stored.rows_between(bench.services.store.read, "drum-4", 0, START_MS * 2)
    assert [values for _, values in rows] == [{"bean_probe": 97.5}, {"bean_probe": 197.5, "bean_surface": 150.0}]


def test_of_two_values_for_one_instant_the_later_sent_wins(bench: Bench):
    """The value sent later wins, even if it is smaller."""
    bench.push((0, "bean_probe", 200.0), (0, "bean_probe", 20.0))
    assert live_of(bench).numbers().values == {"bean_probe": 20.0}


def test_the_live_curve_is_the_stored_one(bench: Bench):
    """They agree from charge to drop, for every channel and rate, before and after the readings are on the disk."""
    code = bench.roast(240)
    for second in (241, 242):
        bench.clock.turn_to(second)
        bench.push((second, "bean_probe", 25.0), (second, "bean_surface", 25.0))
    assert len(live_of(bench).columns()["t_s"]) == 241
    assert_same(live_of(bench), stored_curve(bench, code))
    live_of(bench).save()
    assert_same(live_of(bench), stored_curve(bench, code))


def test_a_row_is_sent_after_its_second_and_none_after_the_drop(bench: Bench):
    """The stream of chart rows ends with the curve; the numbers continue."""
    code = bench.open()
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    told: list[float] = []
    live = live_of(bench)
    for tenth in range(0, 400, 5):
        bench.clock.turn_to(tenth / 10)
        if tenth == 200:
            bench.say(bench.entry("moment", 20, batch=code, moment="drop"))
        bench.push((tenth / 10, "bean_probe", 100 + tenth / 10))
        told = [row["t_s"] for _, row in live.hub._rows]
    assert told == list(range(21))
    assert live.numbers().values["bean_probe"] == pytest.approx(139.5)


def test_no_chart_row_is_sent_before_charge(bench: Bench):
    """Between batches only the numbers are sent."""
    for second in range(10):
        bench.clock.turn_to(second)
        bench.push((second, "bean_probe", 180.0))
    assert not live_of(bench).hub._rows
    assert live_of(bench).columns()["t_s"] == []
    assert live_of(bench).numbers().time_s is None


@pytest.mark.parametrize("by_s", [-10.0, 7.3, 30.0])
def test_a_charge_that_moves_takes_the_curve_with_it(bench: Bench, by_s: float):
    """The rows are recomputed from the readings, including those before the first charge."""
    for second in range(-40, 0):
        bench.clock.turn_to(second)
        bench.push((second, "bean_probe", 200.0 + second))
    code = bench.roast(120)
    before = live_of(bench).columns()["bean_probe"]
    bench.say(bench.entry("shift", 121, batch=code, entry=str(charge_of(bench, code)), by_s=by_s))
    assert live_of(bench).columns()["bean_probe"] != before
    assert_same(live_of(bench), stored_curve(bench, code), lacking=2)


def test_a_charge_that_is_undone_empties_the_curve(bench: Bench):
    """A second charge restarts the curve from the existing readings."""
    code = bench.roast(60)
    charge = charge_of(bench, code)
    bench.say(bench.entry("undo", 61, batch=code, entry=str(charge)))
    assert live_of(bench).columns()["t_s"] == []
    bench.say(bench.entry("moment", 20, batch=code, moment="charge"))
    assert len(live_of(bench).columns()["t_s"]) >= 38
    assert_same(live_of(bench), stored_curve(bench, code), lacking=2)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    gaps_s=st.lists(
        st.one_of(st.floats(0.02, 1.5), st.sampled_from([0.25, 0.5, 1.0, 2.0, 7.0])), min_size=5, max_size=150
    ),
    missed=st.integers(1, 12),
    charge_s=st.floats(0, 3),
    drop_part=st.floats(0.3, 1.0),
)
def test_readings_at_uneven_times_give_the_same_curve_live_and_stored(
    bench: Bench, gaps_s: list[float], missed: int, charge_s: float, drop_part: float
):
    """At any spacing, with gaps and a channel that misses some, the stored curve equals the live one."""
    bench.clock.turn_to((bench.clock.now_ms() - START_MS) / 1000 + HOUR_S)
    live, start_s = live_of(bench), (bench.clock.now_ms() - START_MS) / 1000
    code = bench.open(start_s)
    charge = bench.entry("moment", start_s + charge_s, batch=code, moment="charge")
    at_s, tapped = start_s, False
    for number, gap_s in enumerate(gaps_s):
        at_s += gap_s
        bench.clock.turn_to(at_s)
        if not tapped and at_s > start_s + charge_s:
            tapped = bool(bench.say(charge))
        at_ms = bench.clock.now_ms()
        readings = [Reading(at_ms, "bean_probe", 150 + 40 * math.sin(number))]
        readings += [Reading(at_ms, "bean_surface", 90 + number)] if number % missed == 0 else []
        live.take(readings)
    if not tapped:
        bench.say(charge)
    live.take([Reading(bench.clock.now_ms(), "bean_probe", 150.0)])
    drop_s = max(charge_s + 1, gaps_s[0] + 1, (at_s - start_s) * drop_part)
    bench.say(bench.entry("moment", start_s + drop_s, batch=code, moment="drop"))
    assert_same(live, stored_curve(bench, code), lacking=3)


def test_the_value_at_a_time_is_read_between_the_rows(bench: Bench):
    """It is interpolated as in the record; in an unfinished second it is the newest value, without data None."""
    bench.roast(60)
    live = live_of(bench)
    columns = live.columns()
    assert live.value_at("bean_surface", 30) == columns["bean_surface"][30] == pytest.approx(96.0)
    assert live.value_at("bean_surface", 30.5) == pytest.approx(96.1)
    assert live.value_at("bean_surface", 60.0) == pytest.approx(102.0)
    assert live.value_at("bean_surface", 90.0) is None
    assert live.value_at("bean_surface", -20.0) is None


def test_readings_refused_by_the_disk_are_written_later(bench: Bench):
    """While another program holds the database nothing is lost, the curve continues, and all is written afterwards."""
    store, live = bench.services.store, live_of(bench)
    store.write(lambda db: db.conn.execute("PRAGMA busy_timeout = 20").fetchone())
    code = bench.open()
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    other = sqlite3.connect(store.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    for second in range(30):
        bench.clock.turn_to(second)
        bench.push((second, "bean_probe", 100.0 + second))
        if second % 10 == 5:
            with pytest.raises(StoreError, match="locked"):
                live.save()
    assert stored.rows_between(store.read, "drum-4", START_MS, START_MS * 2) == []
    assert [at for at, _ in live.rows_between(START_MS, START_MS * 2)] == [START_MS + n * 1000 for n in range(30)]
    assert len(live.columns()["t_s"]) == 29
    assert bench.client.get("/healthz").status_code == 503
    answer = bench.client.post("/api/entries", json={"entries": [bench.entry("note", batch=code, text="x")]})
    assert answer.status_code == 503
    assert "send it again" in answer.get_json()["error"]
    other.execute("ROLLBACK")
    other.close()
    live.save()
    kept = stored.rows_between(store.read, "drum-4", START_MS, START_MS * 2)
    assert [values["bean_probe"] for _, values in kept] == [100.0 + n for n in range(30)]
    assert bench.client.get("/healthz").status_code == 200


def test_the_saver_reports_a_failing_disk_once_and_continues(bench: Bench, caplog: pytest.LogCaptureFixture):
    """One log line for all failures, and the readings are stored when the disk works again."""
    store, live = bench.services.store, live_of(bench)
    store.write(lambda db: db.conn.execute("PRAGMA busy_timeout = 1").fetchone())
    tries: list[int] = []

    def save() -> None:
        tries.append(1)
        live.save()

    other = sqlite3.connect(store.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    bench.push((0, "bean_probe", 100.0))
    bench.services.runtime._saver.stop()  # this test checks only its own
    caplog.clear()
    saver = Repeater("saver", 0.02, save, UNSAVED)
    saver.start()
    for _ in range(5):
        before = len(tries)
        until(lambda before=before: len(tries) > before)
    other.execute("ROLLBACK")
    other.close()
    saver.stop()
    assert len([record for record in caplog.records if "kept in memory" in record.message]) == 1
    assert stored.rows_between(store.read, "drum-4", START_MS, START_MS) == [(START_MS, {"bean_probe": 100.0})]


def test_closing_saves_the_last_readings(services: Services):
    """The readings of the last second are on the disk after a stop."""
    live = services.runtime.live("drum-4")
    live.take([Reading(START_MS, "bean_probe", 99.0)])
    services.close()
    with sqlite3.connect(services.store.path) as connection:
        rows = connection.execute("SELECT at_ms, data FROM readings").fetchall()
    connection.close()
    assert rows == [(START_MS, '{"bean_probe":99.0}')]


def test_a_machine_left_on_over_night_keeps_no_endless_curve(bench: Bench):
    """A curve is at most two hours long; after that, and after a silence, rows are neither kept nor sent."""
    bench.roast(30)
    live = live_of(bench)
    for minute in range(60, 60 * 14, 2):
        bench.clock.turn_to(minute * 60)
        live.take([Reading(bench.clock.now_ms(), "bean_probe", 25.0)])
    assert live._curve.rows <= LONGEST_ROAST_S + 1
    assert len(live.columns()["t_s"]) == 31
