"""The filter and the smoother: against statsmodels, scipy's matrix exponential and NIST's certified line."""

import math
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from roastlog.curve.rate.kalman import ProcessNoise, Transition, Trend, transition
from roastlog.curve.smoothing import filter_forward, smooth_backward

NORRIS = Path(__file__).parents[1] / "golden" / "nist_norris.csv"
NOISE_C2 = 0.06
PROCESS_NOISE = ProcessNoise(3e-8, 2e-5, 25.0)

Array = NDArray[np.float64]


def matrices(step: Transition) -> tuple[Array, Array]:
    """Transition matrix and unit noise covariance."""
    matrix = np.array([[1, step.step_s, step.level_by_bend], [0, 1, step.rate_by_bend], [0, 0, step.bend_left]])
    noise = np.array(
        [[step.q_ll, step.q_lr, step.q_lb], [step.q_lr, step.q_rr, step.q_rb], [step.q_lb, step.q_rb, step.q_bb]]
    )
    return matrix, noise


def uneven(seed: int, count: int = 300) -> tuple[Array, Array]:
    """Readings of a curved series at irregular times, some of them missing."""
    rng = np.random.default_rng(seed)
    time_s = np.cumsum(rng.uniform(0.1, 4.0, count))
    temp_c = 90 + 0.25 * time_s + 8 * np.sin(time_s / 60) + rng.normal(0, 0.25, count)
    temp_c[1:][rng.random(count - 1) < 0.1] = np.nan
    return time_s, temp_c


def by_statsmodels(time_s: Array, temp_c: Array, first_state: tuple[float, ...]):
    """The same model, filtered and smoothed by statsmodels."""
    from statsmodels.tsa.statespace.kalman_smoother import KalmanSmoother  # costs each worker a second

    steps = [matrices(transition(round(float(dt), 9))) for dt in np.diff(time_s)]
    process_noise = [PROCESS_NOISE.at(float(at)) for at in time_s[1:]]
    model = KalmanSmoother(k_endog=1, k_states=3)
    model.bind(np.ascontiguousarray(temp_c))
    model["design"] = np.array([[1.0, 0.0, 0.0]])
    model["obs_cov"] = np.array([[NOISE_C2]])
    model["selection"] = np.eye(3)
    model["transition"] = np.dstack([transition for transition, _ in steps] + [np.eye(3)])
    model["state_cov"] = np.dstack(
        [q * intensity for (_, q), intensity in zip(steps, process_noise, strict=True)] + [np.eye(3)]
    )
    # Ours starts with the first reading already included; statsmodels includes it, at no weight, from the same start.
    first = temp_c.copy()
    first[0] = np.nan
    model.bind(np.ascontiguousarray(first))
    model.initialize_known(np.array(first_state[:3]), np.diag([first_state[3], first_state[6], first_state[8]]))
    return model.smooth()


@pytest.mark.parametrize("seed", range(4))
def test_filter_and_smoother_are_those_of_statsmodels(seed: int):
    """States and covariances, filtered and smoothed, equal statsmodels' at irregular times with missing readings."""
    # External check: statsmodels 0.15, `KalmanSmoother` (Durbin and Koopman's formulas, not ours).
    time_s, temp_c = uneven(seed)
    steps = filter_forward(time_s, temp_c, NOISE_C2, PROCESS_NOISE, charge_s=0.0)
    theirs = by_statsmodels(time_s, temp_c, steps[0].trend)
    ours = np.array([step.trend for step in steps])
    upper = np.triu_indices(3)
    np.testing.assert_allclose(ours[:, :3], theirs.filtered_state.T, rtol=1e-9, atol=1e-11)
    np.testing.assert_allclose(ours[:, 3:], theirs.filtered_state_cov.transpose(2, 0, 1)[:, *upper], atol=1e-12)
    states, covariances = smooth_backward(steps)
    np.testing.assert_allclose(states, theirs.smoothed_state.T, rtol=1e-9, atol=1e-10)
    np.testing.assert_allclose(covariances, theirs.smoothed_state_cov.transpose(2, 0, 1), atol=1e-11)


@given(st.floats(0.05, 10.0))
def test_transition_is_the_matrix_exponential_of_the_model(step_s: float):
    """Transition and noise over a step equal van Loan's block exponential, by scipy's expm."""
    from scipy.linalg import expm

    drift = np.array([[0, 1, 0], [0, 0, 1], [0, 0, -0.01]])
    block = np.zeros((6, 6))
    block[:3, :3], block[3:, 3:], block[2, 5] = -drift, drift.T, 1.0
    exponential = expm(block * step_s)
    expected = exponential[3:, 3:].T
    ours = matrices(transition(step_s))
    np.testing.assert_allclose(ours[0], expected, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(ours[1], expected @ exponential[:3, 3:], rtol=1e-5, atol=1e-12)


@given(st.floats(0.2, 5.0), st.integers(0, 2**32 - 1))
def test_stretched_time_scales_the_rate(factor: float, seed: int):
    """With time, the bend's lifetime, and the noise (by the fifth power) scaled, the rate scales inversely."""
    # This is exact. A roast scaled without its model gives another rate, since the model has time constants.
    rng = np.random.default_rng(seed)
    plain = Trend(90.0, NOISE_C2)
    stretched = Trend(90.0, NOISE_C2)
    plain.rr, plain.bb = 100.0, 0.01
    stretched.rr, stretched.bb = 100.0 / factor**2, 0.01 / factor**4
    for dt in rng.uniform(0.2, 3.0, 60):
        plain.predict(transition(dt), 2e-8)
        stretched.predict(transition(dt * factor, 100.0 * factor), 2e-8 / factor**5)
        off_c = float(rng.normal(0.0, 0.25))
        plain.update(off_c, NOISE_C2)
        stretched.update(off_c, NOISE_C2)
    assert stretched.rate * factor == pytest.approx(plain.rate, rel=1e-6, abs=1e-9)
    assert stretched.rr * factor**2 == pytest.approx(plain.rr, rel=1e-6)


def norris() -> tuple[list[str], list[str], dict[str, float]]:
    """Columns x and y as text, and the certified values, of the golden file."""
    lines = NORRIS.read_text(encoding="utf-8").splitlines()
    certified = [line[len("# certified ") :].split(" = ") for line in lines if line.startswith("# certified ")]
    rows = [line.split(",") for line in lines if line[0].isdigit()]
    return [r[0] for r in rows], [r[1] for r in rows], {name: float(value) for name, value in certified}


def test_without_bend_it_is_least_squares():
    """Restricted to a straight line, the filter gives the line that NIST certifies for its Norris data."""
    x, y, certified = norris()
    points = sorted(zip(map(float, x), map(float, y), strict=True))
    noise_c2 = certified["residual_sd"] ** 2
    trend = Trend(points[0][1], noise_c2)
    trend.bb = 0.0
    for (before, _), (at, value) in pairwise(points):
        trend.predict(transition(at - before), 0.0)
        trend.update(value - trend.level, noise_c2)
    assert len(points) == 36
    assert len(certified) == 5
    assert trend.rate == pytest.approx(certified["slope"], rel=1e-9)
    assert trend.level - trend.rate * points[-1][0] == pytest.approx(certified["intercept"], rel=1e-6)
    assert math.sqrt(trend.rr) == pytest.approx(certified["slope_error"], rel=1e-6)


def test_norris_data_give_the_certified_slope_in_exact_arithmetic():
    """The typed data give the certified values without our code too, so they were typed correctly."""
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


def test_pushes_die_out_after_charge():
    """After charge the noise of the bend is larger for a while; before it, and without a charge, it is constant."""
    assert PROCESS_NOISE.at(0.0) == pytest.approx(3e-8 + 2e-5)
    assert PROCESS_NOISE.at(25.0) == pytest.approx(3e-8 + 2e-5 / math.e)
    assert PROCESS_NOISE.at(-1.0) == PROCESS_NOISE.at(-math.inf) == PROCESS_NOISE.at(math.inf) == 3e-8
