"""The runtime: machines replaced in mid-roast, readings of several senders, and a failing disk."""

import json
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing

import pytest

from roastlog.errors import StoreError
from roastlog.instruments.base import Reading
from roastlog.recording import unsaved_readings
from roastlog.recording.trouble import FULL, SILENT
from roastlog.recording.turned_controls import Turn
from roastlog.recording.unsaved_readings import UnsavedReadings
from roastlog.store import readings as stored
from roastlog.store.store import Database
from tests.conftest import SHEET, START_MS, Bench
from tests.recording.test_hub import until

SURFACE = SHEET[SHEET.index("[[channels]]", SHEET.index("bean_probe")) : SHEET.index("[[controls]]")]


def charged(bench: Bench) -> str:
    """A charged batch with readings of its first seconds; returns its code."""
    code = bench.open(green_g=4000)
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    for second in range(30):
        bench.clock.turn_to(second)
        bench.push((second, "bean_probe", 100.0 + second), (second, "bean_surface", 90.0))
    return code


def test_a_machine_set_up_again_goes_on_with_its_batch(bench: Bench):
    """Its curve is complete, its watchers have to reconnect, and it accepts readings."""
    code = charged(bench)
    before, events = bench.services.runtime.live("drum-4"), bench.services.live.hub("drum-4").watch()
    next(events)
    bench.services.machines.add(SHEET)
    assert list(events) == []
    after = bench.services.runtime.live("drum-4")
    assert after is not before
    assert after.columns() == before.columns()
    bench.clock.turn_to(31)
    bench.push((31, "bean_probe", 131.0))
    assert bench.services.batches.record(code).curve.channels["bean_probe"][-1] == 131.0


def test_a_reading_taken_while_a_machine_is_replaced_is_in_its_curve(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """It arrives between the save and the stop of the old machine; the record and the live curve both have it."""
    code = charged(bench)
    before = bench.services.runtime.live("drum-4")
    bench.clock.turn_to(30)
    late, save = [Reading(START_MS + 30_000, "bean_probe", 555.0)], before.save

    def save_and_take() -> None:
        save()
        if late:
            before.take([late.pop()])

    monkeypatch.setattr(before, "save", save_and_take)
    bench.services.machines.add(SHEET)
    bench.clock.turn_to(32)
    bench.push((32, "bean_probe", 132.0))
    assert not late
    assert bench.services.runtime.live("drum-4").columns()["bean_probe"][30] == 555.0
    assert bench.services.batches.record(code).curve.channels["bean_probe"][30] == 555.0


def test_a_replaced_machine_accepts_no_readings(bench: Bench):
    """A push to the replaced machine is told to retry, so that no reading seems stored that is not."""
    before = bench.services.runtime.live("drum-4")
    bench.services.machines.add(SHEET)
    for take in (before.take, before.take_late):
        with pytest.raises(StoreError, match="again"):
            take([Reading(START_MS, "bean_probe", 100.0)])


def test_a_machine_set_up_twice_at_once_is_there_once(bench: Bench):
    """Two taps on the button give one machine with one reader thread."""
    threads = [threading.Thread(target=bench.services.machines.add_practice) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [machine.id for machine in bench.services.machines.all()] == ["drum-4", "practice"]
    assert len([thread for thread in threading.enumerate() if thread.name == "simulated roaster"]) == 1


def test_a_practice_machine_that_is_there_is_left_alone(bench: Bench):
    """A second request in mid-roast does not empty the practice drum."""
    bench.services.machines.add_practice()
    live = bench.services.runtime.live("practice")
    bench.services.machines.add_practice()
    assert bench.services.runtime.live("practice") is live


def test_a_channel_that_a_new_sheet_leaves_out_stays_in_its_batches(bench: Bench):
    """The channel stays in the record, its figures and its CSV, with the values read then."""
    code = bench.roast(120)
    bench.services.machines.add(SHEET.replace(SURFACE, ""))
    curve = bench.services.batches.record(code).curve
    assert curve.channels["bean_surface"][60] == pytest.approx(102.0)
    assert "bean_surface" in bench.client.get(f"/api/batches/{code}/curve.csv").text.splitlines()[0]
    other = SHEET.replace(SURFACE, "").replace('"bean_probe"', '"exhaust"').replace('= "exhaust"', '= "exhaust_air"')
    bench.services.machines.add(other)
    record = bench.services.batches.record(code)
    assert record.measures.moments[-1].temp_c == pytest.approx(record.curve.channels["bean_probe"][-1])
    assert bench.client.get(f"/batches/{code}").status_code == 200
    assert bench.client.get(f"/batches/{code}/figure.json").status_code == 200


def test_a_sender_that_is_late_shows_its_newest_value(bench: Bench):
    """A reading is compared with the sender's own earlier ones, not with those of a faster instrument."""
    for second in range(5):
        bench.clock.turn_to(second + 1)
        bench.push((second + 1, "bean_probe", 100.0 + second), (second, "bean_surface", 50.0 + second))
    assert bench.services.runtime.live("drum-4").numbers().values == {"bean_probe": 104.0, "bean_surface": 54.0}


def test_a_sender_whose_clock_is_ahead_cuts_off_no_other(bench: Bench):
    """A second ends by the server's clock, so other senders' readings still count in it."""
    code = bench.open()
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    for second in range(20):
        bench.clock.turn_to(second)
        bench.push((second + 4, "bean_surface", 90.0), (second, "bean_probe", 100.0 + second))
    rows = bench.services.runtime.live("drum-4").columns()["bean_probe"]
    assert rows == [100.0 + second for second in range(len(rows))]
    assert len(rows) >= 18


def test_the_batch_that_was_dropped_last_is_shown_even_if_it_was_opened_first(bench: Bench):
    """Of two batches opened in advance, the one dropped last shows its cooling timer."""
    first, second = bench.open(-200), bench.open(-100)
    for code, at_s in ((second, 0), (first, 900)):
        bench.clock.turn_to(at_s + 600)
        bench.say(bench.entry("moment", at_s, batch=code, moment="charge"))
        bench.say(bench.entry("moment", at_s + 600, batch=code, moment="drop"))
    assert bench.services.live.view("drum-4").batch.code == first


def test_a_turn_refused_by_the_disk_is_entered_later(bench: Bench):
    """The move is entered once the disk works again, since nobody turns the knob twice."""
    store, runtime = bench.services.store, bench.services.runtime
    code = bench.open()
    runtime._saver.stop()
    store.write(lambda db: db.conn.execute("PRAGMA busy_timeout = 20").fetchone())
    runtime.live("drum-4").controls.give_back([Turn("radiant", 6.5, bench.services.clock.now_ms())])
    other = sqlite3.connect(store.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreError):
        runtime._save()
    other.execute("ROLLBACK")
    other.close()
    runtime._save()
    assert bench.services.batches.record(code).batch.settings == {"radiant": 6.5}


def test_a_refused_turn_is_logged(bench: Bench, caplog: pytest.LogCaptureFixture):
    """The log names the machine and the reason; other turns are stored."""
    runtime, code = bench.services.runtime, bench.open()
    runtime._saver.stop()
    now_ms = bench.services.clock.now_ms()
    runtime.live("drum-4").controls.give_back([Turn("radiant", 99.0, now_ms), Turn("radiant", 6.5, now_ms + 1)])
    runtime._save()
    assert bench.services.batches.record(code).batch.settings == {"radiant": 6.5}
    refused = [record.getMessage() for record in caplog.records if "is not in the journal" in record.getMessage()]
    assert len(refused) == 1
    assert "Four-kilo drum" in refused[0]
    assert "must be 0–10" in refused[0]


def test_unsaved_readings_stay_within_their_limit_while_saving_fails(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """However many saves fail, the newest readings up to the limit are held, and are written in the end."""
    monkeypatch.setattr(unsaved_readings, "MOST_UNSAVED", 10)
    store = bench.services.store
    store.write(lambda db: db.conn.execute("PRAGMA busy_timeout = 20").fetchone())
    held = UnsavedReadings("drum-4", store)
    with closing(sqlite3.connect(store.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        for second in range(20):
            for tenth in range(3):
                held.put(1000 * second + 100 * tenth, "bean_probe", 100.0 + second)
            with pytest.raises(StoreError):
                held.save()
            assert len(held.between(0, 20_000)) <= 10
        other.execute("ROLLBACK")
    newest = [(1000 * second + 100 * tenth) for second in range(20) for tenth in range(3)][-10:]
    assert list(held.between(0, 20_000)) == newest
    held.save()
    assert [at_ms for at_ms, _ in stored.rows_between(store.read, "drum-4", 0, 20_000)] == newest


def test_a_backlog_does_not_delay_live_readings(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """While a commit of late readings waits for its turn, those of the present are saved within a second or so."""
    store, live = bench.services.store, bench.services.runtime.live("drum-4")
    write, may_go_on = store.write, threading.Event()

    def write_in_turn(change: Callable[[Database], object], *, bulk: bool = False) -> object:
        if bulk:
            may_go_on.wait(60)
        return write(change, bulk=bulk)

    monkeypatch.setattr(store, "write", write_in_turn)
    bench.clock.turn_to(600)
    late = [Reading(START_MS + 1000 * second, "bean_probe", 150.0) for second in range(20)]
    sender = threading.Thread(target=live.take_late, args=(late,))
    sender.start()
    until(lambda: live.rows_between(START_MS, START_MS + 20_000))
    live.take([Reading(START_MS + 600_000, "bean_probe", 200.0)])
    span = "drum-4", START_MS + 600_000, START_MS + 601_000
    until(lambda: stored.rows_between(store.read, *span))
    assert sender.is_alive()
    may_go_on.set()
    sender.join()


def test_watchers_see_a_failing_disk_and_its_recovery(bench: Bench):
    """One event each reports failure and recovery, also in the view of a new page; the readings are stored later."""
    store, runtime = bench.services.store, bench.services.runtime
    runtime._saver.stop()
    runtime.running("drum-4").advice_thread.stop()
    store.write(lambda db: db.conn.execute("PRAGMA busy_timeout = 20").fetchone())
    events = bench.services.live.hub("drum-4").watch()
    bench.push((0, "bean_probe", 100.0))
    assert [event.name for event in next(events)] == ["reading"]
    with closing(sqlite3.connect(store.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError):
            runtime._save()
        for _ in range(2):
            runtime.update_advice()
        assert bench.services.live.view("drum-4").trouble == FULL
        told = next(events)
        other.execute("ROLLBACK")
    assert [(event.name, json.loads(event.data)["trouble"][:8]) for event in told] == [("state", "The disk")]
    runtime._save()
    runtime.update_advice()
    assert [(event.name, json.loads(event.data)["trouble"]) for event in next(events)] == [("state", "")]
    assert bench.services.live.view("drum-4").trouble == ""
    events.close()


def test_a_roast_without_readings_is_reported(bench: Bench):
    """A roast is reported after five seconds without a reading, until one comes; not before the charge."""
    runtime, code = bench.services.runtime, bench.open()
    runtime.running("drum-4").advice_thread.stop()
    bench.push((0, "bean_probe", 180.0))
    runtime.update_advice()
    bench.clock.turn_to(6)
    runtime.update_advice()
    assert bench.services.live.view("drum-4").trouble == ""
    bench.say(bench.entry("moment", 6, batch=code, moment="charge"))
    runtime.update_advice()
    assert bench.services.live.view("drum-4").trouble == SILENT
    bench.push((6, "bean_probe", 170.0))
    runtime.update_advice()
    assert bench.services.live.view("drum-4").trouble == ""


def test_entries_without_an_event_are_sent_to_watchers_on_repetition(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """The phone resends entries whose answer was lost, and all watchers receive them."""
    code, events = bench.open(), bench.services.live.hub("drum-4").watch()
    bench.push((0, "bean_probe", 100.0))
    assert [event.name for event in next(events)] == ["reading"]
    note = bench.entry("note", 1, batch=code, text="Chaff tray emptied.")
    with monkeypatch.context() as broken:
        broken.setattr(
            bench.services.runtime.entry_service, "_notify", lambda _: (_ for _ in ()).throw(StoreError("gone"))
        )
        assert bench.client.post("/api/entries", json={"entries": [note]}).status_code == 503
    assert bench.say(note)[0]["status"] == "known"
    assert [event.name for event in next(events)] == ["entry"]
    events.close()


def test_an_entry_sent_again_under_a_wrong_machine_is_known(bench: Bench):
    """The entry is recognised by its id; all other fields are ignored."""
    code = bench.open()
    note = bench.entry("note", 1, batch=code, text="x")
    bench.say(note)
    assert bench.say(note | {"machine": "nowhere"})[0]["status"] == "known"


def test_a_save_that_is_refused_midway_goes_on_there(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """Parts that are on the disk are not written again: their success would hide that the disk refuses the rest."""
    monkeypatch.setattr(unsaved_readings, "COMMIT_ROWS", 2)
    store, commits = bench.services.store, []
    write = store.write

    def refuse(change: Callable[[Database], object], *, bulk: bool = False) -> object:
        commits.append(change)
        if len(commits) >= 3:
            raise StoreError("The disk is full.")
        return write(change, bulk=bulk)

    held = UnsavedReadings("drum-4", store)
    for second in range(7):
        held.put(1000 * second, "bean_probe", 100.0 + second)
    with monkeypatch.context() as patched:
        patched.setattr(store, "write", refuse)
        for _ in range(2):
            with pytest.raises(StoreError):
                held.save()
    assert len(commits) == 3 + 1
    assert list(held.between(0, 10_000)) == [4000, 5000, 6000]
    held.save()
    there = stored.rows_between(store.read, "drum-4", 0, 10_000)
    assert [values["bean_probe"] for _, values in there] == [100.0 + second for second in range(7)]
