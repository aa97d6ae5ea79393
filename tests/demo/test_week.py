"""The week before the demo, as data that Drumside accepts."""

from collections import Counter
from datetime import datetime
from itertools import islice, pairwise
from uuid import UUID

import numpy as np
import pytest

from demo.scenario import COFFEES, MACHINE, OTHER_LOTS, PEOPLE, SETTINGS, SHEET
from demo.week import LATE_ONE, PastBatch, _plan, batch_count, week
from roastlog.journal.entries import body_of, parse_entry
from roastlog.journal.fold import Batch, fold
from roastlog.machine.sheet import parse_sheet
from roastlog.services import Settings

NOW_MS = 1_795_591_800_000  # a Wednesday


@pytest.fixture(scope="module")
def batches() -> list[PastBatch]:
    return list(week(NOW_MS))


def folded(batch: PastBatch) -> Batch:
    return fold(parse_entry(entry, received_ms=entry["at_ms"]) for entry in batch.entries)


def test_week_has_its_batches_in_order(batches: list[PastBatch]):
    """There are 18 to 22 batches, oldest first, at their planned times, without overlap, all in the past."""
    assert 18 <= len(batches) <= 22
    assert len(batches) == batch_count(NOW_MS)
    for batch, (opened_ms, _) in zip(batches, _plan(NOW_MS), strict=True):
        assert 0 <= batch.entries[0]["at_ms"] - opened_ms <= 240_000
    spans = [(batch.at_ms[0], batch.at_ms[-1]) for batch in batches]
    assert all(earlier[1] < later[0] for earlier, later in pairwise(spans))
    assert max(entry["at_ms"] for batch in batches for entry in batch.entries) < NOW_MS
    assert batches[-1].at_ms[-1] < NOW_MS


def test_every_entry_is_taken_and_flags_nothing(batches: list[PastBatch]):
    """The journal's own models accept every entry; the fold finds none doubled, late or out of order."""
    for batch in batches:
        assert batch.entries[0]["kind"] == "opened"
        assert {entry["batch"] for entry in batch.entries[1:]} == {batch.entries[0]["id"]}
        assert [line.flags for line in folded(batch).lines if line.flags] == []


def test_batches_end_as_people_end_them(batches: list[PastBatch]):
    """All batches are released except the late one, which is held, and the newest, which waits for weighing."""
    states = Counter(folded(batch).state for batch in batches)
    assert states == {"released": len(batches) - 2, "held": 1, "cooling": 1}
    assert folded(batches[-1]).state == "cooling"
    assert folded(batches[LATE_ONE]).state == "held"


def test_losses_are_those_of_the_physics_in_the_usual_band(batches: list[PastBatch]):
    """Losses are 13–17 % (practice, from memory); the scale shows the true mass in steps of 5 g."""
    for batch in batches:
        assert 0.13 <= 1 - batch.roasted_g / batch.green_g <= 0.17
        weighed_g = folded(batch).roasted_g
        assert weighed_g is None or weighed_g == pytest.approx(batch.roasted_g, abs=2.5)


def test_batches_of_a_coffee_differ_a_little(batches: list[PastBatch]):
    """No two batches have the same loss or curve, yet first crack of a coffee stays within 45 s."""
    cracks: dict[str | None, list[float]] = {}
    for batch in batches:
        fold_ = folded(batch)
        cracks.setdefault(fold_.facts.coffee, []).append(fold_.moments_s["first_crack"])
    assert all(max(times) - min(times) < 45 for times in cracks.values())
    assert len({batch.roasted_g for batch in batches}) == len(batches)


def test_readings_are_one_a_second_around_the_roast(batches: list[PastBatch]):
    """Rows start before the charge and end after the drop; every value is finite."""
    for batch in batches:
        at = folded(batch).moments
        assert np.all(np.diff(batch.at_ms) == 1000)
        assert batch.at_ms[0] + 30_000 < at["charge"].at_ms < at["drop"].at_ms < batch.at_ms[-1] - 80_000
        assert set(batch.channels) == {"bean_probe", "bean_surface", "exhaust"}
        for values in batch.channels.values():
            assert values.shape == batch.at_ms.shape
            assert np.all(np.isfinite(values))


def test_the_same_moment_gives_the_same_week(batches: list[PastBatch]):
    """Entries, ids and readings are reproducible; another seed gives other roasts."""
    again, other = list(week(NOW_MS)), list(islice(week(NOW_MS, seed=1), 4))
    assert [batch.entries for batch in batches] == [batch.entries for batch in again]
    assert np.array_equal(batches[3].channels["exhaust"], again[3].channels["exhaust"])
    assert batches[3].roasted_g != other[3].roasted_g
    ids = [UUID(entry["id"]) for batch in batches for entry in batch.entries]
    assert len(set(ids)) == len(ids)


@pytest.mark.parametrize("later_days", range(7))
def test_any_weekday_makes_a_week(later_days: int):
    """On any weekday there are as many batches, and none on a Sunday except today's own."""
    now_ms = NOW_MS + later_days * 86_400_000
    assert batch_count(now_ms) == 20
    days = [datetime.fromtimestamp(opened_ms / 1000).astimezone().weekday() for opened_ms, _ in _plan(now_ms)[:-2]]
    assert 6 not in days


def test_the_stock_suffices_for_the_week(batches: list[PastBatch]):
    """Each lot holds more than its batches took, and one of them is nearly used up."""
    left_g = {coffee.lot.code: coffee.lot.green_g for coffee in COFFEES}
    for batch in batches:
        left_g[batch.entries[0]["body"]["lot"]] -= batch.green_g
    assert min(left_g.values()) > 0
    assert sum(left < 5000 for left in left_g.values()) == 1


def test_all_kinds_of_people_and_kinds_of_entries_occur(batches: list[PastBatch]):
    """The week has three people and every kind of entry of an ordinary week."""
    entries = [entry for batch in batches for entry in batch.entries]
    assert {entry["by"]["person"] for entry in entries} == {*PEOPLE, None}
    assert set(Counter(entry["kind"] for entry in entries)) == {
        "opened", "moment", "move", "trier", "aroma", "crack", "note", "weighed", "colour", "released", "shift",
    }  # fmt: skip


def test_scenario_fits_the_program():
    """The sheet, the lots and the settings are valid for the program."""
    machine = parse_sheet(SHEET.read_text(encoding="utf-8"))
    assert machine.id == MACHINE
    assert [control.id for control in machine.controls] == ["hot_air", "radiant", "drum_heat", "stir"]
    for lot in (*(coffee.lot for coffee in COFFEES), *OTHER_LOTS):
        for kind, body in (("arrived", lot.facts), *((kind, body) for _days, kind, body in lot.said)):
            assert body_of(kind, body)
    assert set(SETTINGS) <= set(Settings.__dataclass_fields__)
