"""Maintenance: packs old readings, backs up at night, reports the result, and blocks nothing."""

import logging
import sqlite3
from datetime import datetime
from uuid import uuid4

import pytest

from roastlog.errors import StoreError
from roastlog.instruments.base import Reading
from roastlog.services import Services, open_services
from roastlog.store import readings, sealing
from roastlog.store.backups import BACKUPS, check, listed, newest
from roastlog.store.photos import UNNAMED_MS, keep_photo, sweep, unnamed_before
from roastlog.store.readings import SLOT_MS
from roastlog.store.sealing import QUIET_MS
from roastlog.upkeep import maintenance as module
from roastlog.upkeep.maintenance import SWEEP_MS, Maintenance, last_night_ms
from tests.conftest import START_MS, Bench, HandClock
from tests.recording.test_hub import until

HOUR_S = 3600


@pytest.fixture
def maintenance(services: Services) -> Maintenance:
    """The maintenance, with jobs called by the test."""
    return services.maintenance


def backups(services: Services) -> list[int]:
    """Times of all backups, newest first. [ms UTC]"""
    return [backup.at_ms for backup in listed(services.store.path.parent / BACKUPS)]


def test_a_record_is_the_same_when_its_readings_are_packed(bench: Bench):
    """The API's answer for a batch does not change by a byte, and the rows are gone."""
    code = bench.roast(600)
    bench.services.runtime.live("drum-4").save()
    told = [bench.client.get(f"/api/batches/{code}{end}").data for end in ("", "/curve")]
    bench.clock.turn_to((2 * SLOT_MS + QUIET_MS) / 1000)
    bench.services.maintenance.seal_quiet()
    assert bench.services.store.read.execute("SELECT count(*) FROM readings").fetchone()[0] == 0
    assert [bench.client.get(f"/api/batches/{code}{end}").data for end in ("", "/curve")] == told
    assert len(bench.client.get(f"/api/batches/{code}/curve").get_json()["t_s"]) == 601


def test_a_charge_that_is_moved_after_packing_moves_the_curve(bench: Bench):
    """Readings belong to a time: a charge moved by 60 s shows the earlier readings."""
    bench.push((-100, "bean_probe", 55.0), (-40, "bean_probe", 77.0))
    code = bench.roast(120)
    bench.services.runtime.live("drum-4").save()
    bench.clock.turn_to((2 * SLOT_MS + QUIET_MS) / 1000)
    bench.services.maintenance.seal_quiet()
    charge = next(e for e in bench.client.get(f"/api/batches/{code}").get_json()["entries"] if e["kind"] == "moment")
    bench.say(bench.entry("shift", 7000, batch=code, entry=charge["id"], by_s=-60.0))
    curve = bench.client.get(f"/api/batches/{code}/curve").get_json()
    assert len(curve["t_s"]) == 181
    assert curve["bean_probe"][20] == 77.0


def test_a_damaged_half_hour_is_a_gap_on_the_page(bench: Bench):
    """The page of the record still has its moments; the API gives null for the missing readings."""
    code = bench.roast(300)
    bench.services.runtime.live("drum-4").save()
    bench.clock.turn_to((2 * SLOT_MS + QUIET_MS) / 1000)
    bench.services.maintenance.seal_quiet()
    bench.services.store.write(lambda db: db.conn.execute("UPDATE sealed SET data = zeroblob(length(data))"))
    assert bench.client.get(f"/batches/{code}").status_code == 200
    told = bench.client.get(f"/api/batches/{code}").get_json()
    assert told["moments"]["drop"] == 300
    assert set(bench.client.get(f"/api/batches/{code}/curve").get_json().get("bean_probe", [None])) == {None}


def test_a_backup_is_made_each_night_and_no_oftener(services: Services, clock: HandClock, maintenance: Maintenance):
    """A backup is made at the first start, at three each night, and at the next start if that was missed."""
    newest_ms = set()
    for hour in range(49):
        clock.turn_to(hour * HOUR_S)
        maintenance.back_up()
        newest_ms.add(backups(services)[0])
        assert max(newest_ms) >= last_night_ms(clock.now_ms())
    assert len(newest_ms) == 3
    assert check(newest(services.store.path.parent / BACKUPS).path).batches == 0
    clock.turn_to(30 * 24 * HOUR_S)
    maintenance.back_up()
    assert backups(services)[0] == clock.now_ms()


def test_a_clock_that_was_set_back_does_not_end_the_backups(
    services: Services, clock: HandClock, maintenance: Maintenance
):
    """Backups from ahead are none of tonight's, and ten nights of them take no place of those made now."""
    ahead = range(365, 375)
    for day in ahead:
        clock.turn_to(day * 24 * HOUR_S)
        maintenance.back_up()
    maintenance = Maintenance(services.store, clock)  # the server follows a clock that was set back at its next start
    for day in range(10):
        clock.turn_to(day * 24 * HOUR_S)
        maintenance.back_up()
        assert maintenance.state.newest is not None
        assert maintenance.state.newest.at_ms == clock.now_ms()
    made = [round((at_ms - START_MS) / 86_400_000) for at_ms in backups(services)]
    assert {*range(3, 10), *range(368, 375)} <= set(made)


@pytest.mark.usefixtures("berlin")
@pytest.mark.parametrize(
    ("now", "night"),
    [
        ("2026-11-26T02:59:59+01:00", "2026-11-25T03:00:00+01:00"),
        ("2026-11-26T03:00:00+01:00", "2026-11-26T03:00:00+01:00"),
        ("2026-03-29T12:00:00+02:00", "2026-03-29T03:00:00+02:00"),  # clocks went from 2 to 3 that night
        ("2026-10-25T02:30:00+01:00", "2026-10-24T03:00:00+02:00"),  # the second half past two of that night
        ("2026-10-25T12:00:00+01:00", "2026-10-25T03:00:00+01:00"),
    ],
)
def test_night_is_three_oclock_on_the_wall(now: str, night: str):
    """Night is correct even where summer time changes (EU: last Sundays of March and October, at 01:00 UTC)."""
    asked, expected = (datetime.fromisoformat(text).timestamp() * 1000 for text in (now, night))
    assert last_night_ms(round(asked)) == expected


def test_a_backup_that_fails_is_reported_on_the_page_and_tried_again(
    services: Services, clock: HandClock, maintenance: Maintenance, bench: Bench
):
    """With a file in place of the folder Today shows the failure, it is retried after an hour, then there is a tick."""
    (services.store.path.parent / BACKUPS).write_text("in the way")
    with pytest.raises(StoreError, match="No backup can be made"):
        maintenance.back_up()
    assert not services.backups.status().well
    assert "The last backup failed: No backup can be made" in bench.client.get("/").text
    (services.store.path.parent / BACKUPS).unlink()
    maintenance.back_up()
    assert backups(services) == []
    clock.turn_to(HOUR_S)
    maintenance.back_up()
    assert services.backups.status().well
    clock.turn_to(4 * HOUR_S)
    assert "Backed up 3 h ago" in bench.client.get("/").text


def test_the_page_does_not_read_the_folder_of_backups(
    services: Services, clock: HandClock, maintenance: Maintenance, bench: Bench
):
    """It shows what maintenance saw last; maintenance notices a missing backup and makes another one."""
    maintenance.back_up()
    folder = services.store.path.parent / BACKUPS
    folder.rename(folder.with_name("away"))
    clock.turn_to(3 * HOUR_S)
    assert "Backed up 3 h ago" in bench.client.get("/").text
    maintenance.back_up()
    assert "Backed up 0 min ago" in bench.client.get("/").text


def test_a_backup_before_the_start_is_shown_at_once(services: Services, clock: HandClock, maintenance: Maintenance):
    """A server shows the age of its newest backup as soon as it has started."""
    maintenance.back_up()
    services.close()
    clock.turn_to(HOUR_S)
    again = open_services(services.store.path.parent, clock)
    assert again.backups.status().age_s == HOUR_S
    again.close()


def test_an_old_backup_is_reported(services: Services, clock: HandClock, maintenance: Maintenance, bench: Bench):
    """Without any failure or backup, Today shows the age of the newest after two days."""
    assert "No backup yet" in bench.client.get("/").text
    maintenance.back_up()
    clock.turn_to(5 * 24 * HOUR_S)
    assert "The newest backup is 5 days old" in bench.client.get("/").text
    assert services.backups.status().age_s == 5 * 24 * HOUR_S


def test_damaged_readings_are_reported_after_the_nightly_check(
    services: Services, clock: HandClock, maintenance: Maintenance
):
    """The backup counts them; Today says that an older one may be intact."""
    services.store.write(lambda db: readings.add_rows(db, "drum-4", [(START_MS - SLOT_MS, {"bean_probe": 20.0})]))
    clock.turn_to(HOUR_S)
    maintenance.seal_quiet()
    services.store.write(lambda db: db.conn.execute("UPDATE sealed SET data = x'0102'"))
    maintenance.back_up()
    assert "1 half hours of packed readings are damaged" in services.backups.status().said


def photos(services: Services) -> set[str]:
    """Names of all stored photos."""
    return {row[0] for row in services.store.read.execute("SELECT name FROM photos")}


def test_unnamed_photos_are_deleted_after_a_month(bench: Bench, clock: HandClock, maintenance: Maintenance):
    """Only old unnamed photos are deleted: not one named by an entry, even corrected or undone."""
    services, code = bench.services, bench.open()
    named, undone, corrected, unnamed, young, named_late = (str(uuid4()) for _ in range(6))
    for name in (named, undone, corrected, unnamed, named_late):
        services.store.write(lambda db, name=name: keep_photo(db, name, b"jpeg", clock.now_ms()))
    checks = [bench.entry("trier", at_s, batch=code, stage="tan") for at_s in (1, 2, 3)]
    checks[0]["body"]["photo"], checks[1]["body"]["photo"] = named, undone
    bench.say(*checks, bench.entry("undo", 4, batch=code, entry=checks[1]["id"]))
    bench.say(bench.entry("amend", 5, batch=code, entry=checks[2]["id"], body={"photo": corrected}))
    kept = {named, undone, corrected}
    clock.turn_to(UNNAMED_MS / 1000 - 1)
    services.store.write(lambda db: keep_photo(db, young, b"jpeg", clock.now_ms()))
    maintenance.sweep_photos()
    assert photos(services) == {*kept, unnamed, young, named_late}
    # A tap that waited on a phone all that time still finds its photo.
    bench.say(bench.entry("trier", 6, batch=code, stage="tan", photo=named_late))
    clock.turn_to(UNNAMED_MS / 1000 + SWEEP_MS / 1000)
    maintenance.sweep_photos()
    assert photos(services) == {*kept, young, named_late}


def test_a_photo_that_is_named_while_it_is_swept_stays(bench: Bench, clock: HandClock):
    """The deletion checks again, so an entry that names the photo after the first check saves it."""
    services, code = bench.services, bench.open()
    one, other = str(uuid4()), str(uuid4())
    for name in (one, other):
        services.store.write(lambda db, name=name: keep_photo(db, name, b"jpeg", clock.now_ms()))
    clock.turn_to(UNNAMED_MS / 1000 + 1)
    names, seq = unnamed_before(services.store.read, clock.now_ms() - UNNAMED_MS)
    assert names == {one, other}
    bench.say(bench.entry("trier", 6, batch=code, stage="tan", photo=one))
    assert services.store.write(lambda db: sweep(db, names, seq)) == 1
    assert photos(services) == {one}


def test_it_works_by_itself_and_stops(services: Services, monkeypatch: pytest.MonkeyPatch):
    """Started with the server, it packs old readings, makes a backup, and does not delay a stop."""
    monkeypatch.setattr(module, "FIRST_S", 0.01)
    services.store.write(lambda db: readings.add_rows(db, "drum-4", [(START_MS - 9 * SLOT_MS, {"bean_probe": 1.0})]))
    maintenance = Maintenance(services.store, services.clock)
    maintenance.start()
    until(lambda: backups(services) != [])
    maintenance.stop()
    assert not maintenance._thread.is_alive()
    assert services.store.read.execute("SELECT count(*) FROM sealed").fetchone()[0] == 1


def test_an_unpackable_row_is_reported_once_and_delays_nothing(
    services: Services, maintenance: Maintenance, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    """An invalid row stays a row; the adjacent half hours are packed."""
    for number in range(3):
        row = START_MS - (9 - number) * SLOT_MS, {"bean_probe": 1.0}
        services.store.write(lambda db, row=row: readings.add_rows(db, "drum-4", [row]))
    services.store.write(
        lambda db: db.conn.execute("UPDATE readings SET data = '{' WHERE at_ms = (SELECT min(at_ms) FROM readings)")
    )
    monkeypatch.setattr(module, "PAUSE_S", 0.0)
    caplog.set_level(logging.INFO)
    for _ in range(4):
        maintenance._try("Readings cannot be packed", maintenance.seal_quiet)
    assert len([record for record in caplog.records if "cannot be packed" in record.message]) == 1
    assert services.store.read.execute("SELECT count(*) FROM readings").fetchone()[0] == 1
    assert services.store.read.execute("SELECT count(*) FROM sealed").fetchone()[0] == 2


def test_readings_of_a_disk_that_refuses_are_packed_later(
    services: Services, maintenance: Maintenance, clock: HandClock
):
    """While another program locks the database nothing is deleted; the next time packing works."""
    services.store.write(lambda db: readings.add_rows(db, "drum-4", [(START_MS - 9 * SLOT_MS, {"bean_probe": 1.0})]))
    services.store.write(lambda db: db.conn.execute("PRAGMA busy_timeout = 20").fetchone())
    other = sqlite3.connect(services.store.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreError, match="locked"):
        maintenance.seal_quiet()
    other.execute("ROLLBACK")
    other.close()
    maintenance.seal_quiet()
    assert list(sealing.due(services.store.read, clock.now_ms())) == []


def test_a_full_disk_is_reported_and_recording_goes_on(bench: Bench):
    """Today and /healthz name the remedy; readings wait in memory, and are written when there is room."""
    store, live = bench.services.store, bench.services.runtime.live("drum-4")
    pages = store.write(lambda db: db.conn.execute("PRAGMA max_page_count = 1").fetchone()[0])
    rows = [(START_MS + n, {"bean_probe": n / 10}) for n in range(50_000)]
    live.take([Reading(at_ms, name, value) for at_ms, values in rows for name, value in values.items()])
    with pytest.raises(StoreError, match="full"):
        live.save()
    page = bench.client.get("/").text
    assert "Free some space on its disk" in page
    assert str(bench.services.store.path.parent) in page
    assert "stay in memory until the disk accepts them again" in page
    with pytest.raises(StoreError, match="full"):
        live.save()
    health = bench.client.get("/healthz")
    assert health.status_code == 503
    assert "Free some space on its disk" in health.get_json()["reason"]
    assert str(bench.services.store.path.parent) not in health.text  # which anyone may ask for
    live.take([Reading(START_MS + 60_000, "bean_probe", 200.0)])
    store.write(lambda db: db.conn.execute(f"PRAGMA max_page_count = {pages + 100_000}").fetchone())
    live.save()
    kept = readings.rows_between(store.read, "drum-4", START_MS, START_MS + 60_000)
    assert kept == [*rows, (START_MS + 60_000, {"bean_probe": 200.0})]
    assert bench.client.get("/healthz").status_code == 200
    assert "▲" not in bench.client.get("/").text


def test_strangers_see_no_folders(bench: Bench):
    """Without the data folder an owner's page names it, a bag page only says that it cannot be read."""
    folder = bench.services.store.path.parent
    bench.services.store.read.lost = True  # this thread opens a new connection
    folder.rename(folder.with_name("away"))
    inside, bag = bench.client.get("/batches"), bench.client.get("/r/some-token")
    folder.with_name("away").rename(folder)
    assert (inside.status_code, bag.status_code) == (503, 503)
    assert "The data folder was moved or removed" in inside.text
    assert "The data folder was moved or removed" in bag.text
    assert (str(folder) in inside.text, str(folder) in bag.text) == (True, False)
    assert bench.client.get("/batches").status_code == 200
