"""Earlier batches as input of the computations."""

import numpy as np
import pytest

from roastlog.errors import CurveError
from roastlog.roasts.history import History
from tests.conftest import START_MS, Bench

APART_S = 1500
NOW_MS = START_MS + 10_000_000


def three(bench: Bench) -> list[str]:
    """Three batches of one coffee and one of another, in turn; returns the codes of the three."""
    codes = []
    for number, coffee in enumerate(("Alder washed", "Night Ferry", "Alder washed", "Alder washed")):
        code = bench.roast(start_s=number * APART_S, coffee=coffee, green_g=3900 + 10 * number)
        bench.services.runtime.live("drum-4").save()
        codes += [code] if coffee == "Alder washed" else []
    return codes


def history(bench: Bench) -> tuple[History, object]:
    """The history of the bench, and its machine."""
    return bench.services.runtime.history, bench.services.machines.all()[0]


def test_earlier_batches_of_a_coffee_come_oldest_first(bench: Bench):
    """The history has only batches of the coffee, with curve, rate, moments, weight and name."""
    codes = three(bench)
    past, machine = history(bench)
    roasts = past.earlier(machine, "Alder washed", now_ms=NOW_MS)
    assert [roast.name for roast in roasts] == codes
    first = roasts[0]
    assert first.moments_s == {"charge": 0.0, "yellow": 300.0, "first_crack": 522.0, "drop": 600.0}
    assert first.green_g == 3900
    assert first.time_s.size == first.temp_c.size == 601
    # The bench's probe rises by 112 °C in 600 s when its fall is over.
    assert first.rate_c_per_min[400:] == pytest.approx(11.2, abs=0.1)
    assert first.surface_c is not None
    assert np.isfinite(first.surface_c).all()


def test_later_batches_are_not_in_the_history(bench: Bench):
    """A batch is compared only with earlier ones of its own coffee."""
    codes = three(bench)
    past, machine = history(bench)
    charged_ms = bench.services.batches.summary(codes[2]).charged_ms
    assert [
        roast.name for roast in past.earlier(machine, "Alder washed", now_ms=NOW_MS, before_ms=charged_ms)
    ] == codes[:2]
    assert past.earlier(machine, None, now_ms=NOW_MS) == []
    assert past.earlier(machine, "Nobody's coffee", now_ms=NOW_MS) == []


def test_later_entries_of_an_earlier_batch_count(bench: Bench):
    """A batch with a moved first crack is folded again; the others stay cached."""
    codes = three(bench)
    past, machine = history(bench)
    before = past.earlier(machine, "Alder washed", now_ms=NOW_MS)
    bench.say(bench.entry("note", 610, batch=codes[0], text="Tasted of plums."))
    crack = next(e for e in bench.services.batches.detail(codes[0]).entries if e.body.get("moment") == "first_crack")
    bench.say(bench.entry("shift", 620, batch=codes[0], entry=crack.id, by_s=-10))
    after = past.earlier(machine, "Alder washed", now_ms=NOW_MS)
    assert after[0].moments_s["first_crack"] == 512.0
    assert after[1] is before[1]


def test_readings_that_come_late_are_in_the_curve(bench: Bench):
    """Late readings fill a gap of a finished batch: its cached curve is read again."""
    code = bench.roast(coffee="Alder washed")
    bench.clock.turn_to(3000)
    probe = bench.services.batches.record(code).curve.channels["bean_probe"]
    assert bench.services.batches.record(code).curve is bench.services.batches.record(code).curve
    bench.push((300.0, "bean_probe", 199.0))
    again = bench.services.batches.record(code).curve.channels["bean_probe"]
    assert (probe[300], again[300]) == (pytest.approx(151.0, abs=0.1), 199.0)


def test_a_batch_just_dropped_is_not_kept_before_its_last_readings_are_in(bench: Bench):
    """A record requested at the drop itself is not cached, so it later has the last readings."""
    code = bench.roast(coffee="Alder washed")
    assert bench.services.batches.record(code).curve.time_s[-1] == 600
    bench.push((600.2, "bean_probe", 250.0))
    assert bench.services.batches.record(code).curve.channels["bean_probe"][600] > 220


def test_a_discarded_or_unfinished_batch_teaches_nothing(bench: Bench):
    """Discarded batches, and those without a drop, are not used."""
    codes = three(bench)
    past, machine = history(bench)
    drop = next(e for e in bench.services.batches.detail(codes[1]).entries if e.body.get("moment") == "drop")
    bench.say(bench.entry("undo", 5000, batch=codes[1], entry=drop.id))
    assert [roast.name for roast in past.earlier(machine, "Alder washed", now_ms=NOW_MS)] == [codes[0], codes[2]]


def test_a_roast_so_far_holds_nothing_later(bench: Bench):
    """Rows, moments and moves after the time are removed; columns of different lengths are refused."""
    three(bench)
    past, machine = history(bench)
    roast = past.earlier(machine, "Alder washed", now_ms=NOW_MS)[0]
    roast_so_far = roast.upto(400.5)
    assert roast_so_far.time_s[-1] == 400.0
    assert set(roast_so_far.moments_s) == {"charge", "yellow"}
    assert roast_so_far.surface_c is not None
    assert roast_so_far.surface_c.size == roast_so_far.temp_c.size == 401
    with pytest.raises(CurveError, match="same length"):
        type(roast)(roast.time_s, roast.temp_c[:-1], roast.rate_c_per_min)
