"""A flush of waiting taps: folded once, told in one event that carries what changed, whoever reads it."""

import json

import pytest

from roastlog.recording import running_machine
from roastlog.recording.hub import Event
from tests.conftest import Bench

TAPS = 40


def waiting_taps(bench: Bench, code: str) -> list[dict[str, object]]:
    """What a phone has to send that was without a network from charge to drop."""
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


def flush(bench: Bench) -> list[Event]:
    """Send the taps at once; what a watcher is told."""
    code, watch = bench.open(coffee="Alder washed", green_g=4000), bench.services.live.hub("drum-4").watch()
    bench.push((0, "bean_probe", 190.0))
    next(watch)
    bench.clock.turn_to(650)
    assert {result["status"] for result in bench.say(*waiting_taps(bench, code))} == {"stored"}
    told = next(watch)
    watch.close()
    return told


def test_a_flush_of_forty_taps_is_folded_once_for_all_who_watch(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """One fold, one event; it names every entry in the order of their numbers."""
    folds, fold = [], running_machine.fold
    monkeypatch.setattr(running_machine, "fold", lambda *given: folds.append(given) or fold(*given))
    bench.services.live.view("drum-4")
    folds.clear()
    events = [event for event in flush(bench) if event.name == "entry"]
    assert len(folds) == 2  # of the batch as it was opened, and of the flush
    (event,) = events
    told = json.loads(event.data)
    seqs = [entry["seq"] for entry in told["entries"]]
    assert (len(seqs), seqs, seqs[-1]) == (TAPS, sorted(seqs), told["seq"])
    assert event.id == told["seq"] == told["after"] + TAPS


def test_a_flush_of_forty_taps_weighs_a_few_tens_of_kilobytes(bench: Bench):
    """With the whole view on every entry it was 367 KB for each watcher."""
    weight = sum(len(event.data.encode()) for event in flush(bench))
    assert weight < 40_000, weight


def test_one_more_tap_carries_its_own_line_and_no_other(bench: Bench):
    """A note after forty taps: its line of the log, which the oldest one leaves, and not the batch or its chart."""
    flush(bench)
    code, watch = bench.services.live.view("drum-4").batch.code, bench.services.live.hub("drum-4").watch()
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
