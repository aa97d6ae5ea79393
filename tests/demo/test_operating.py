"""The demo's operator: its own batch from opening to weighing, and its reaction to other people."""

from itertools import count
from typing import Any

import pytest

from demo.drum import Drum
from demo.operating import DEVICE, STALE_MS, TAPPED, TOO_HOT_C, Job, Operator
from demo.scenario import ALDER, MACHINE
from roastlog.physics.design import IDLE, GreenCoffee

START_MS = 1_800_000_000_000


class Bench:
    """An operator at a drum, and a clock set by hand."""

    def __init__(self, hello: str = "", goodbye: str = "") -> None:
        self.drum = Drum(seed=1)
        ids = count(1)
        self.operator = Operator(
            self.drum,
            Job(ALDER, "Ines", 4000.0, seed=3, hello=hello, goodbye=goodbye),
            new_id=lambda: f"00000000-0000-4000-8000-{next(ids):012d}",
            bean_of=lambda _: GreenCoffee(first_crack_c=190.0),
        )
        self.now_ms = START_MS
        self.operator.prepare(self.now_ms)
        self.sent = self.operator.begin(self.now_ms)
        self.theirs = count(1)
        self.hear({**self.sent[0], "batch": "26330-01X"})

    def run(self, seconds: int) -> list[dict[str, Any]]:
        new = []
        for _ in range(seconds):
            self.drum.advance(1.0)
            self.now_ms += 1000
            new += self.operator.tick(self.now_ms)
        self.sent += new
        return new

    def hear(self, entry: dict[str, Any]) -> list[dict[str, Any]]:
        said = self.operator.hear([entry], self.now_ms)
        self.sent += said
        return said

    def say(self, kind: str, body: dict[str, Any], *, batch: str = "26330-01X", ago_s: float = 0.2, device="phone"):
        """An entry of somebody else arrives."""
        ident = f"10000000-0000-4000-8000-{next(self.theirs):012d}"
        by, at_ms = {"person": "Wren", "device": device}, self.now_ms - round(ago_s * 1000)
        about = {"id": ident, "machine": MACHINE, "batch": batch, "at_ms": at_ms, "by": by}
        return self.hear({**about, "kind": kind, "body": body})


@pytest.fixture
def bench() -> Bench:
    return Bench()


def moments(entries: list[dict[str, Any]]) -> dict[str, int]:
    return {entry["body"]["moment"]: entry["at_ms"] for entry in entries if entry["kind"] == "moment"}


def taps(entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The entries without moves, which it makes whoever the batch belongs to."""
    return [entry for entry in entries if entry["kind"] != "move"]


def test_left_alone_it_roasts_one_batch_and_weighs_it(bench: Bench):
    """Undisturbed, it opens, charges, taps in order, drops as planned, weighs, and then stays silent."""
    bench.run(1200)
    kinds = [entry["kind"] for entry in taps(bench.sent)]
    assert kinds[:2] == ["opened", "moment"]
    assert list(moments(bench.sent)) == ["charge", "yellow", "first_crack", "drop"]
    stages = [entry["body"]["stage"] for entry in bench.sent if entry["kind"] == "trier"]
    assert stages == ["pale", "yellow", "tan", "light_brown", "brown"]
    assert {"aroma", "crack"} < set(kinds)
    assert kinds[-1] == "weighed"
    at = moments(bench.sent)
    planned_ms = 1000 * ALDER.schedule.development_s
    assert at["drop"] - at["first_crack"] == pytest.approx(planned_ms, abs=2500)
    assert 0.13 < 1 - bench.sent[-1]["body"]["roasted_g"] / 4000 < 0.16
    assert bench.drum.levels() == IDLE
    assert bench.run(600) == []


def test_entries_say_where_they_belong(bench: Bench):
    """All entries but the first name its batch, by code once it is known; all have device, person and time."""
    bench.run(700)
    assert "batch" not in bench.sent[0]
    assert {entry["batch"] for entry in bench.sent[1:]} <= {bench.sent[0]["id"], "26330-01X"}
    assert all(entry["by"] == {"person": "Ines", "device": DEVICE} for entry in bench.sent)
    assert all(START_MS <= entry["at_ms"] <= bench.now_ms for entry in bench.sent)
    assert len({entry["id"] for entry in bench.sent}) == len(bench.sent)


def test_taps_come_shortly_after_the_true_moments(bench: Bench):
    """Yellow and first crack are tapped within 5 s after the true time, never before it."""
    truth: dict[str, int] = {}
    for _ in range(650):
        bench.run(1)
        for name in ("yellow", "first_crack"):
            if getattr(bench.drum.roaster, name):
                truth.setdefault(name, bench.now_ms)
    at = moments(bench.sent)
    assert all(0 <= at[name] - truth[name] <= 5000 for name in truth)


def test_it_taps_the_moves_that_no_register_tells(bench: Bench):
    """The first settings and each turn of those controls; that of the stirrer is read from the machine."""
    bench.run(700)
    moved = [entry["body"] for entry in bench.sent if entry["kind"] == "move"]
    turned = [turn for turn in bench.operator.turns if turn.control in TAPPED]
    assert len(moved) >= len(turned) > len(TAPPED)
    assert {body["control"] for body in moved} == set(TAPPED)


def test_an_entry_of_another_device_takes_over(bench: Bench):
    """After a note from another device it taps moves alone: it still turns the knobs."""
    bench.run(100)
    bench.say("note", {"text": "I have it"})
    turned = len(bench.operator.turns)
    assert {entry["kind"] for entry in bench.run(300)} == {"move"}
    assert len(bench.operator.turns) > turned
    assert bench.drum.roaster.loaded


def notes(entries: list[dict[str, Any]]) -> list[str]:
    return [entry["body"]["text"] for entry in entries if entry["kind"] == "note"]


def test_it_introduces_itself_and_reports_a_takeover():
    """It writes one note early in its batch, one when someone takes over in mid-roast, and none later."""
    bench = Bench(hello="I roast this one", goodbye="Yours now")
    assert notes(bench.run(30)) == ["I roast this one"]
    bench.say("trier", {"stage": "pale"})
    assert notes(bench.run(30)) == ["Yours now"]
    bench.say("note", {"text": "I have it"})
    assert bench.run(30) == []


def test_entries_after_the_drop_are_no_takeover():
    """Weighing its batch is not a takeover."""
    bench = Bench(goodbye="Yours now")
    while not bench.operator.roasted_g:
        bench.run(1)
    bench.say("weighed", {"roasted_g": 3420.0})
    assert notes(bench.run(60)) == []


def test_moves_read_off_the_machine_are_no_takeover(bench: Bench):
    """Drumside's own entries, with the machine as their device, are not a takeover."""
    bench.run(60)
    bench.say("move", {"control": "hot_air", "setting": 9.0}, device=MACHINE)
    assert bench.operator.tapping
    assert bench.drum.levels()["hot_air"] != 9.0


def test_a_move_of_another_is_set_and_left_alone(bench: Bench):
    """A move by somebody else is written to the register at once, and the schedule leaves that knob alone."""
    bench.run(100)
    bench.say("move", {"control": "radiant", "setting": 1.5})
    assert bench.drum.levels()["radiant"] == 1.5
    bench.run(250)
    assert bench.drum.levels()["radiant"] == 1.5
    assert bench.drum.levels()["hot_air"] > 3.0


def test_the_drop_of_another_lets_the_beans_out(bench: Bench):
    """A drop by somebody else empties the drum at once; it is warm again later, and nothing is weighed."""
    bench.run(500)
    bench.say("moment", {"moment": "drop"})
    assert not bench.drum.roaster.loaded
    bench.run(60)
    assert bench.drum.levels() == IDLE
    assert bench.run(600) == []


def test_a_batch_of_another_is_charged_and_dropped(bench: Bench):
    """Somebody else's batch, after the operator's, is roasted with its own green weight and bean."""
    bench.run(1200)
    bench.say("opened", {"green_g": 2500.0}, batch="26330-02Y")
    bench.say("moment", {"moment": "charge"}, batch="26330-02Y")
    roaster = bench.drum.roaster
    assert roaster.loaded
    assert (roaster.green_kg, roaster.coffee.first_crack_c) == (2.5, 190.0)
    assert taps(bench.run(500)) == []
    assert roaster.first_crack
    bench.say("moment", {"moment": "drop"}, batch="26330-02Y")
    assert not roaster.loaded


def test_a_charge_of_another_ends_the_operators_batch_honestly(bench: Bench):
    """A charge by somebody else drops the operator's beans, with a note, before it."""
    bench.run(300)
    bench.say("opened", {}, batch="26330-02Y")
    assert bench.operator.tapping
    said = bench.say("moment", {"moment": "charge"}, batch="26330-02Y")
    assert [(entry["body"], entry["batch"]) for entry in said] == [({"moment": "drop"}, "26330-01X")]
    assert said[0]["at_ms"] < bench.now_ms
    assert bench.drum.roaster.loaded
    assert bench.drum.roaster.bean_c < 30.0
    assert taps(bench.run(900)) == []


def test_an_earlier_charge_keeps_the_drum():
    """If somebody charged before its start, it opens no batch, since pages would show that one."""
    drum = Drum(seed=1)
    operator = Operator(drum, Job(ALDER, "Ines", 4000.0, seed=3), new_id=lambda: "never")
    by = {"person": "Wren", "device": "phone"}
    charge = {"id": "1", "batch": "26330-02Y", "at_ms": START_MS, "by": by, "kind": "moment"}
    operator.hear([{**charge, "body": {"moment": "charge"}}], START_MS)
    assert operator.begin(START_MS) == []
    assert drum.roaster.loaded
    assert taps(operator.tick(START_MS + 5000)) == []


def test_a_doubled_charge_is_no_second_charge(bench: Bench):
    """A second charge tap for the batch in the drum leaves the beans there."""
    bench.run(200)
    before_c = bench.drum.roaster.bean_c
    bench.say("moment", {"moment": "charge"})
    assert bench.drum.roaster.bean_c == before_c


def test_a_drop_of_another_batch_leaves_the_drum_alone(bench: Bench):
    """A late drop for yesterday's batch does not open the door."""
    bench.run(200)
    bench.say("moment", {"moment": "drop"}, batch="26329-03Q")
    assert bench.drum.roaster.loaded


def test_moves_before_a_charge_hold(bench: Bench):
    """The charge does not revert settings that somebody else made on the empty drum."""
    bench.run(1200)
    bench.say("opened", {"green_g": 4000.0}, batch="26330-02Y")
    bench.say("move", {"control": "drum_heat", "setting": 6.5}, batch="26330-02Y")
    bench.say("moment", {"moment": "charge"}, batch="26330-02Y")
    bench.run(30)
    assert bench.drum.levels()["drum_heat"] == 6.5


def test_old_entries_change_nothing(bench: Bench):
    """Old entries, read again at a start, turn no knob and open no door."""
    bench.run(200)
    ago_s = STALE_MS / 1000 + 1
    bench.say("move", {"control": "stir", "setting": 1.0}, batch="26329-03Q", ago_s=ago_s)
    bench.say("moment", {"moment": "charge"}, batch="26329-03Q", ago_s=ago_s)
    assert bench.drum.levels()["stir"] != 1.0
    assert bench.drum.roaster.bean_c > 60.0
    assert bench.operator.tapping


def test_unknown_controls_and_wild_settings_break_nothing(bench: Bench):
    """An unknown control is ignored; a setting is limited to the knob's range."""
    bench.run(50)
    bench.say("move", {"control": "shutter", "setting": 4.0})
    bench.say("move", {"control": "stir", "setting": 99.0})
    assert bench.drum.levels()["stir"] == 10.0


def test_beans_that_no_one_drops_are_not_burnt(bench: Bench):
    """Forgotten beans are cooled: the heat goes off before they catch fire."""
    bench.run(100)
    bench.say("note", {"text": "back in a minute"})
    bench.run(2400)
    assert bench.drum.roaster.loaded
    assert bench.drum.roaster.bean_c < TOO_HOT_C
    levels = bench.drum.levels()
    assert (levels["hot_air"], levels["radiant"], levels["drum_heat"]) == (0.0, 0.0, 0.0)
