"""Rows of one second: their content, and the equality of live and stored rows."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.curve.series import Curve, SecondBins, bin_seconds
from roastlog.errors import CurveError

ORIGIN_MS = 1_795_593_600_000
NAN = math.nan


def binned(readings: list[tuple[float, float]], end_s: int) -> list[float]:
    """One channel from second 0 on, of readings (time_s, value)."""
    at_ms = [ORIGIN_MS + round(t * 1000) for t, _ in readings]
    curve = bin_seconds(at_ms, {"p": [v for _, v in readings]}, origin_ms=ORIGIN_MS, start_s=0, end_s=end_s)
    return curve.channels["p"].tolist()


def test_row_is_the_mean_around_its_second():
    """Second 1 averages the readings from 0.5 s up to, but not including, 1.5 s."""
    readings = [(0.49, 1.0), (0.5, 2.0), (1.0, 3.0), (1.499, 4.0), (1.5, 9.0)]
    assert binned(readings, 2) == [1.0, 3.0, 9.0]


def test_averaging_shifts_nothing_in_time():
    """A ramp read four times a second keeps its values, except for the readings' own half step."""
    readings = [(i / 4, i / 4) for i in range(40)]
    assert binned(readings, 9)[1:] == pytest.approx([s - 0.125 for s in range(1, 10)])


@pytest.mark.parametrize(
    ("every_s", "expected"),
    [
        (1, [0, 1, 2, 3, 4, 5, 6, 7, 8]),
        (2, [0, 0, 2, 2, 4, 4, 6, 6, 8]),
        (3, [0, 0, 0, 3, 3, 3, 6, 6, 6]),
        (4, [0, 0, 0, NAN, 4, 4, 4, NAN, 8]),
    ],
)
def test_short_silences_are_bridged_and_long_ones_are_gaps(every_s: int, expected: list[float]):
    """A channel read every 2 or 3 s has no gaps; from 4 s on it has."""
    np.testing.assert_array_equal(binned([(t, float(t)) for t in range(0, 9, every_s)], 8), expected)


def test_nothing_is_made_up_before_the_first_reading():
    """Rows before the first reading are gaps, even if an older reading is before the start."""
    np.testing.assert_array_equal(binned([(-1.0, 5.0), (2.0, 7.0), (2.2, NAN)], 3), [NAN, NAN, 7.0, 7.0])


@given(
    st.lists(
        st.tuples(st.integers(0, 2500), st.sampled_from("abc"), st.one_of(st.floats(-50, 400), st.just(NAN))),
        max_size=120,
    ),
    st.integers(-5, 5),
    st.integers(0, 500),
)
def test_live_rows_are_the_stored_rows(readings: list[tuple[int, str, float]], start_s: int, late_ms: int):
    """Live and stored rows are equal for any spacing of readings up to half a second out of order."""
    bins, rows, now_ms, taken = SecondBins("abc", start_s=start_s), [], -4000, []
    for step_ms, channel, value in readings:
        now_ms += step_ms
        at_ms = now_ms - late_ms if len(taken) % 3 == 1 else now_ms
        taken.append((ORIGIN_MS + at_ms, channel, value))
        rows += bins.add(at_ms / 1000, channel, value)
    rows += bins.upto(max(now_ms / 1000, start_s) + 5)
    assert [row.time_s for row in rows] == list(range(start_s, start_s + len(rows)))
    columns = {name: [v if c == name else NAN for _, c, v in taken] for name in "abc"}
    at = [t for t, _, _ in taken]
    curve = bin_seconds(at, columns, origin_ms=ORIGIN_MS, start_s=start_s, end_s=start_s + len(rows) - 1)
    for name in "abc":
        np.testing.assert_array_equal([row.values[name] for row in rows], curve.channels[name])


def test_rows_wait_for_slower_instruments():
    """A row is emitted half a second after its end, so that a slightly late reading is included."""
    bins = SecondBins(["a", "b"])
    assert bins.add(0.0, "a", 1.0) == []
    assert bins.add(0.75, "a", 2.0) == []
    assert bins.add(0.25, "b", 5.0) == []
    (row,) = bins.add(1.0, "a", 2.0)
    assert (row.time_s, row.values) == (0, {"a": 1.0, "b": 5.0})


def test_silence_gives_rows_too():
    """Without readings rows continue: held for 2 s, then gaps."""
    bins = SecondBins(["a"])
    bins.add(0.0, "a", 1.0)
    np.testing.assert_array_equal([row.values["a"] for row in bins.upto(6.0)], [1, 1, 1, NAN, NAN, NAN])


def test_too_late_a_reading_is_left_out():
    """A reading for a row that was already emitted changes no later row."""
    bins = SecondBins(["a"])
    bins.add(0.0, "a", 1.0)
    bins.upto(1.2)
    bins.add(0.1, "a", 99.0)
    assert bins.upto(2.5)[0].values == {"a": 1.0}


def test_ragged_curves_are_refused():
    """Unequal columns, an unknown column and an end before the start are refused by name."""
    with pytest.raises(CurveError, match="Column p"):
        Curve(np.arange(3.0), {"p": np.arange(2.0)})
    with pytest.raises(CurveError, match="Column p"):
        bin_seconds([0, 1], {"p": [1.0]}, origin_ms=0, start_s=0, end_s=1)
    with pytest.raises(CurveError, match="cannot end"):
        bin_seconds([], {}, origin_ms=0, start_s=2, end_s=1)
    with pytest.raises(CurveError, match="no column"):
        SecondBins(["a"]).add(0.0, "b", 1.0)
