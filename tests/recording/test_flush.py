"""A flush of waiting taps is folded once and sent as one event with the changes, in the reader's language."""

import json
import random
import sqlite3
import threading
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest

from roastlog.errors import StoreError
from roastlog.journal.entries import Entry
from roastlog.journal.subject import Subject
from roastlog.recording.entry_service import BULK_ENTRIES, FLUSH_ENTRIES
from roastlog.recording.hub import Event
from roastlog.services import open_services
from roastlog.store import journal as stored
from roastlog.store.store import Database, Store
from tests.conftest import SHEET, START_MS, Bench, HandClock

TAPS = 40
KINDS = ("moment", "moment", "move", "trier", "note", "weighed", "released", "undo", "shift", "amend")


def waiting_taps(bench: Bench, code: str) -> list[dict[str, object]]:
    """Entries of a phone that was without a network from charge to drop."""
    moments = {0: "charge", 300: "yellow", 520: "first_crack", 640: "drop"}
    taps = [bench.entry("moment", at_s, batch=code, moment=moment) for at_s, moment in moments.items()]
    for number in range(TAPS - len(taps)):
        at_s = 10.0 + 15 * number
        if number % 3 == 0:
            taps.append(bench.entry("move", at_s, batch=code, control="radiant", setting=number % 20 / 2))
        elif number % 3 == 1:
            taps.append(bench.entry("trier", at_s, batch=code, stage="yellow", words=["bread", "hay"]))
        else:
            taps.append(bench.entry("aroma", at_s, batch=code, words=["toast"]))
    return taps


def flush(bench: Bench, code: str) -> list[Event]:
    """Send the taps at once; returns the events of a watcher."""
    watch = bench.services.live.hub("drum-4").watch()
    bench.push((0, "bean_probe", 190.0))
    next(watch)
    bench.clock.turn_to(650)
    assert {result["status"] for result in bench.say(*waiting_taps(bench, code))} == {"stored"}
    told = next(watch)
    watch.close()
    return told


@pytest.fixture
def read_entries(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """The number of entries of batches that were read to be folded, by who reads them."""
    numbers: Counter[str] = Counter()

    def counted(connection: sqlite3.Connection, code: str, seq: int) -> list[tuple[int, Entry]]:
        entries = entries_since(connection, code, seq)
        numbers["writer" if threading.current_thread().name == "writer" else "view"] += len(entries)
        return entries

    entries_since = stored.entries_since
    monkeypatch.setattr(stored, "entries_since", counted)
    return numbers


def test_a_flush_of_forty_taps_is_read_once_for_lists_and_once_for_all_watchers(
    bench: Bench, read_entries: Counter[str]
):
    """No entry is read again, and one event tells all."""
    code = bench.open(coffee="Alder washed", green_g=4000)
    read_entries.clear()
    (event,) = (event for event in flush(bench, code) if event.name == "entry")
    assert read_entries == {"writer": TAPS + 1, "view": TAPS}  # the writer had not read the opening yet
    told = json.loads(event.data)
    seqs = [entry["seq"] for entry in told["entries"]]
    assert (len(seqs), seqs, seqs[-1]) == (TAPS, sorted(seqs), told["seq"])
    assert event.id == told["seq"] == told["after"] + TAPS


@pytest.mark.parametrize("entries", [5, 500])
def test_a_tap_reads_its_own_entry_alone_however_many_its_batch_has(
    bench: Bench, read_entries: Counter[str], entries: int
):
    """Its cost does not grow with the batch."""
    code = bench.open(coffee="Alder washed", green_g=4000)
    bench.say(*(bench.entry("note", number, batch=code, text="Chaff.") for number in range(entries)))
    read_entries.clear()
    bench.say(bench.entry("moment", 600, batch=code, moment="drop"))
    assert read_entries == {"writer": 1, "view": 1}


def test_an_entry_that_was_not_stored_in_the_end_counts_for_no_later_one(bench: Bench):
    """A weight whose commit failed does not stand against a lower green weight."""
    code = bench.open(coffee="Alder washed", green_g=4000)
    opened = bench.client.get(f"/api/batches/{code}").get_json()["entries"][0]["id"]

    def fail(_db: Database) -> None:
        raise StoreError("The disk is full.")

    with pytest.raises(StoreError):
        bench.services.runtime.entry_service.say(
            Subject("batch", code), "weighed", {"roasted_g": 3400}, keep_beside=fail
        )
    (result,) = bench.say(bench.entry("amend", 700, batch=code, entry=opened, body={"green_g": 3000}))
    assert result["status"] == "stored"


def test_a_thousand_entries_let_a_tap_and_readings_go_first(bench: Bench):
    """A tap that comes while a call of many entries is stored is on disk long before its last one."""
    code = bench.open(coffee="Alder washed", green_g=4000)
    many = [bench.entry("note", number / 10, batch=code, text=f"Note {number}.") for number in range(1000)]
    flood = threading.Thread(target=bench.services.journal.accept, args=(many,))
    flood.start()
    while bench.services.store.read.execute("SELECT count(*) FROM entries").fetchone()[0] < 4 * BULK_ENTRIES:
        time.sleep(0.001)
    (tap,) = bench.services.journal.accept([bench.entry("moment", 100, batch=code, moment="yellow")])
    flood.join()
    ids = [str(entry.id) for entry in stored.entries_of(bench.services.store.read, code)]
    assert ids.index(str(tap.id)) < len(many) - BULK_ENTRIES


def test_a_flush_of_forty_taps_weighs_a_few_tens_of_kilobytes(bench: Bench):
    """With the whole view on every entry it was 367 KB for each watcher."""
    weight = sum(len(event.data.encode()) for event in flush(bench, bench.open(coffee="Alder washed", green_g=4000)))
    assert weight < 40_000, weight


def test_one_more_tap_carries_its_own_line_and_no_other(bench: Bench):
    """A note after forty taps sends its line of the log, and neither the batch nor its chart."""
    code = bench.open(coffee="Alder washed", green_g=4000)
    flush(bench, code)
    watch = bench.services.live.hub("drum-4").watch()
    next(watch)
    note = bench.entry("note", 650, batch=code, text="Chaff tray emptied.")
    bench.say(note)
    (event,) = (event for event in next(watch) if event.name == "entry")
    told = json.loads(event.data)
    assert (told["batch"], told["chart"], len(told["log"]["gone"]), told["log"]["order"]) == (None, None, 1, None)
    assert [line["text"] for line in told["log"]["lines"]] == ["Chaff tray emptied."]
    assert set(told["view"]) == {"seq", "now_ms"}
    assert len(event.data) < 1500
    watch.close()


def said_at_random(seed: int) -> list[dict[str, Any]]:
    """Entries of several people about two batches in a day, many of them odd, in random order."""
    chance = random.Random(seed)
    idents = [str(UUID(int=chance.getrandbits(128), version=4)) for _ in range(60)]
    opened = idents[:2]
    said = [(ident, "opened", {"lot": "HU-7", "green_g": 4000}) for ident in opened]
    for ident in idents[2:]:
        kind = chance.choice(
            ["moment", "moment", "move", "trier", "note", "weighed", "released", "undo", "shift", "amend"]
        )
        target = chance.choice(idents)
        body: dict[str, Any] = {
            "moment": {"moment": chance.choice(["charge", "yellow", "first_crack", "drop"])},
            "move": {"control": "radiant", "setting": chance.choice([2, 4.5, 99])},
            "trier": {"stage": "tan"},
            "note": {"text": "As it was."},
            "weighed": {"roasted_g": chance.choice([3400, 3900, 5000])},
            "released": {"decision": chance.choice(["release", "hold"])},
            "undo": {"entry": target},
            "shift": {"entry": target, "by_s": chance.choice([-10, 20, 3000])},
            "amend": {"entry": target, "body": chance.choice([{"green_g": 3500}, {"text": "Otherwise."}])},
        }[kind]
        said.append((ident, kind, body))
    return [
        {"id": ident, "machine": "drum-4", "kind": kind, "at_ms": START_MS + chance.randrange(900_000), "body": body}
        | ({} if kind == "opened" else {"batch": chance.choice(opened)})
        for ident, kind, body in said
    ]


@pytest.mark.parametrize("seed", range(4))
def test_a_flush_is_answered_like_single_entries(tmp_path: Path, seed: int):
    """Each entry has the same status and reason, and the batches and rows of the list are the same."""
    # A notice is by the batch as the flush leaves it, so an oddity that the flush itself mends has none.
    told, noticed = [], []
    for size in (1, 7, 100):
        services = open_services(tmp_path / str(size), HandClock())
        services.machines.keep_sheet(SHEET)
        services.start()
        said = said_at_random(seed)
        results = [
            result
            for start in range(0, len(said), size)
            for result in services.journal.accept(said[start : start + size])
        ]
        noticed.append({result.id for result in results if result.notice})
        answers = [(result.id, result.status, result.reason) for result in results]
        rows = services.batches.page().items
        folded = [services.batches.detail(row.code) for row in rows]
        told.append((answers, [vars(row) | {"token": ""} for row in rows], folded))
        services.close()
    assert told[0] == told[1] == told[2]
    assert {status for _, status, _ in told[0][0]} == {"stored", "refused"}
    assert all(noticed)


def test_many_entries_are_stored_in_several_commits(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """Others write in between; where the disk fails midway the stored ones are known when all are sent again."""
    code = bench.open(coffee="Alder washed", green_g=4000)
    entries = [bench.entry("note", second, batch=code, text=f"{second}") for second in range(FLUSH_ENTRIES + 5)]
    commits, really = [], Store.write

    def write(store: Store, change: Callable[[Database], object], **how: bool) -> object:
        commits.append(change)
        if len(commits) == 3:
            raise StoreError("The disk is full.")
        return really(store, change, **how)

    monkeypatch.setattr(Store, "write", write)
    with pytest.raises(StoreError):
        bench.services.journal.accept(entries)
    assert len(bench.services.batches.record(code).batch.of("note")) == 2 * BULK_ENTRIES
    results = bench.services.journal.accept(entries)
    assert Counter(result.status for result in results) == {
        "known": 2 * BULK_ENTRIES,
        "stored": len(entries) - 2 * BULK_ENTRIES,
    }
    assert len(bench.services.batches.record(code).batch.of("note")) == len(entries)
    assert len(commits) == 3 + -(-len(entries) // BULK_ENTRIES)  # those until the failure, and all again
