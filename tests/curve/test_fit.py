"""Straight lines: against NIST's certified values, and the running sums against the arrays."""

import math
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.curve.fit import LineFit, TrailingLine

NORRIS = Path(__file__).parents[1] / "golden" / "nist_norris.csv"


def norris() -> tuple[list[str], list[str], dict[str, float]]:
    """Columns x and y as text, and the certified values, of the golden file."""
    lines = NORRIS.read_text(encoding="utf-8").splitlines()
    certified = [line[len("# certified ") :].split(" = ") for line in lines if line.startswith("# certified ")]
    rows = [line.split(",") for line in lines if line[0].isdigit()]
    return [r[0] for r in rows], [r[1] for r in rows], {name: float(value) for name, value in certified}


def trailing(x: Sequence[float], y: Sequence[float]) -> LineFit:
    """The line that a stream of these readings ends with."""
    line = TrailingLine(math.inf)
    for time_s, temp_c in zip(x, y, strict=True):
        line.add(time_s, temp_c)
    fit = line.fit()
    assert fit is not None
    return fit


def test_fit_matches_nist_norris():
    """Intercept, slope, its error and the residual deviation are those that NIST certifies for its Norris data."""
    x, y, certified = norris()
    points = sorted(zip(map(float, x), map(float, y), strict=True))
    fit = trailing([at for at, _ in points], [value for _, value in points])
    assert len(points) == 36
    assert len(certified) == 5
    for name in ("slope", "slope_error", "residual_sd"):
        assert getattr(fit, name) == pytest.approx(certified[name], rel=1e-10), name
    at_zero = fit.intercept - fit.slope * points[-1][0]  # ours counts from the newest
    assert at_zero == pytest.approx(certified["intercept"], rel=1e-9)


def test_norris_data_give_the_certified_slope_in_exact_arithmetic():
    """The typed data give the certified values without our code too: the evidence that they were typed right."""
    columns = norris()
    x, y = ([Fraction(v) for v in column] for column in columns[:2])
    n = len(x)
    sxx = n * sum(a * a for a in x) - sum(x) ** 2
    slope = (n * sum(a * b for a, b in zip(x, y, strict=True)) - sum(x) * sum(y)) / sxx
    intercept = (sum(y) - slope * sum(x)) / n
    left_over = sum((b - intercept - slope * a) ** 2 for a, b in zip(x, y, strict=True))
    assert float(slope) == pytest.approx(columns[2]["slope"], rel=1e-14)
    assert float(intercept) == pytest.approx(columns[2]["intercept"], rel=1e-14)
    assert math.sqrt(left_over / (n - 2)) == pytest.approx(columns[2]["residual_sd"], rel=1e-14)


def test_far_offset_costs_no_digits():
    """Times counted from 1970 give the slope that times counted from charge give."""
    t = np.arange(0.0, 30.0, 0.25)
    y = (150 + 0.2 * t + np.sin(t)).tolist()
    assert trailing((t + 1.8e9).tolist(), y).slope == pytest.approx(trailing(t.tolist(), y).slope, rel=1e-9)


@given(st.lists(st.tuples(st.floats(0.1, 5.0), st.floats(-50, 400)), min_size=3, max_size=300))
def test_running_sums_equal_numpys_fit(steps: list[tuple[float, float]]):
    """Whatever came before, the trailing line is the line that numpy lays through what its window holds."""
    line, time_s = TrailingLine(20.0), 1.8e9
    for step_s, temp_c in steps:
        time_s += step_s
        line.add(time_s, temp_c)
    times, temps = (np.array(column) for column in zip(*line, strict=True))
    assert times[0] >= time_s - 20.0
    fit = line.fit()
    if fit is None:
        assert len(times) < 3
        return
    x = times - time_s
    slope, intercept = np.polyfit(x, temps, 1)
    residual_sd = math.sqrt(np.sum((temps - np.polyval((slope, intercept), x)) ** 2) / (x.size - 2))
    assert fit.slope == pytest.approx(slope, rel=1e-6, abs=1e-7)
    assert fit.intercept == pytest.approx(intercept, rel=1e-6, abs=1e-6)
    assert fit.residual_sd == pytest.approx(residual_sd, rel=1e-6, abs=1e-4)
    assert fit.slope_error == pytest.approx(residual_sd / math.sqrt(x.size * np.var(x)), rel=1e-6, abs=1e-4)


def test_window_forgets_and_clears():
    """Old readings leave the window by age, by an earlier bound and all at once."""
    line = TrailingLine(10.0)
    for second in range(100):
        line.add(second, second)
    assert [t for t, _ in line] == list(range(89, 100))
    line.keep_from(95)
    assert line.span_s == 4
    line.clear()
    assert len(line) == 0
    assert line.fit() is None
