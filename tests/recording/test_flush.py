"""A flush of waiting taps is folded once and sent as one event with the changes, in the reader's language."""

import json
import random
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest

from roastlog.errors import StoreError
from roastlog.journal.fold import Batch, fold
from roastlog.recording import batch_folds, running_machine
from roastlog.recording.entry_service import COMMIT_ENTRIES
from roastlog.recording.hub import Event
from roastlog.services import open_services
from roastlog.store import projections
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


def test_a_flush_of_forty_taps_is_folded_a_few_times_and_sent_once(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """One fold for lists, one for all watchers, one for each moment with an answer; one event for all."""
    folds: dict[str, int] = {}

    def counted(name: str, fold: Callable[..., Batch]) -> Callable[..., Batch]:
        def count(*given: object) -> Batch:
            folds[name] = folds.get(name, 0) + 1
            return fold(*given)

        return count

    code = bench.open(coffee="Alder washed", green_g=4000)
    for module in (running_machine, batch_folds, projections):
        monkeypatch.setattr(module, "fold", counted(module.__name__.rpartition(".")[2], fold))
    (event,) = (event for event in flush(bench, code) if event.name == "entry")
    assert folds == {"running_machine": 1, "projections": 1}
    told = json.loads(event.data)
    seqs = [entry["seq"] for entry in told["entries"]]
    assert (len(seqs), seqs, seqs[-1]) == (TAPS, sorted(seqs), told["seq"])
    assert event.id == told["seq"] == told["after"] + TAPS


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
    entries = [bench.entry("note", second, batch=code, text=f"{second}") for second in range(COMMIT_ENTRIES * 2 + 20)]
    commits, really = [], Store.write

    def write(store: Store, change: Callable[[Database], object]) -> object:
        commits.append(change)
        if len(commits) == 3:
            raise StoreError("The disk is full.")
        return really(store, change)

    monkeypatch.setattr(Store, "write", write)
    with pytest.raises(StoreError):
        bench.services.journal.accept(entries)
    assert len(bench.services.batches.record(code).batch.of("note")) == COMMIT_ENTRIES * 2
    results = bench.services.journal.accept(entries)
    assert Counter(result.status for result in results) == {"known": COMMIT_ENTRIES * 2, "stored": 20}
    assert len(bench.services.batches.record(code).batch.of("note")) == len(entries)
    assert len(commits) == 6
