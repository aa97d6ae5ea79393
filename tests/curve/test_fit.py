"""The polynomial fits that the rate is measured against: published coefficients, scipy and a certified polynomial."""

from pathlib import Path

import numpy as np
import pytest

from tests import rates

GOLDEN = Path(__file__).parents[1] / "golden" / "savitzky_golay.csv"
ROWS = [line.split(",") for line in GOLDEN.read_text(encoding="utf-8").splitlines() if line[0].isdigit()]


@pytest.mark.parametrize(("points", "order", "derivative", "divisor", "coefficients"), ROWS)
def test_centred_fits_have_savitzkys_coefficients(
    points: str, order: str, derivative: str, divisor: str, coefficients: str
):
    """The fit's weights are the coefficients published in 1964 (source and confidence in the golden file)."""
    half = int(points) // 2
    weights = rates.fit_weights(np.arange(-half, half + 1.0), int(order), int(derivative))
    published = np.array([int(value) for value in coefficients.split()]) / int(divisor)
    np.testing.assert_allclose(weights, published, atol=1e-12)


@pytest.mark.parametrize(("window_s", "order"), [(30, 1), (60, 2), (30, 2)])
def test_one_sided_fit_is_scipys(window_s: int, order: int):
    """The trailing fit equals scipy's Savitzky-Golay weights for the newest point, reading by reading."""
    from scipy.signal import savgol_coeffs, savgol_filter  # costs each worker a second

    temp_c = np.random.default_rng(1).normal(150, 10, (2, 200))
    ours = rates.trailing_fit(temp_c, window_s, order)
    weights = savgol_coeffs(window_s + 1, order, deriv=1, pos=window_s, use="dot")
    for row in range(2):
        for at in (window_s, 100, 199):
            assert ours[row, at] == pytest.approx(60 * weights @ temp_c[row, at - window_s : at + 1], abs=1e-9)
    last = savgol_filter(temp_c[0], window_s + 1, order, deriv=1, mode="interp")[-1]
    assert ours[0, -1] == pytest.approx(60 * last, abs=1e-8)


def test_polynomial_of_nist_wampler1():
    """Value and slope at 0 of the fifth-degree polynomial through NIST's Wampler1 data are the certified 1 and 1."""
    # NIST StRD, linear regression, Wampler1: y = 1 + x + … + x⁵ for x = 0, 1, …, 20, all six coefficients certified
    # as 1. Data and certificate follow from that definition [memory], so they are made here.
    x = np.arange(21.0)
    y = sum(x**power for power in range(6))
    assert rates.fit_weights(x, 5, 0) @ y == pytest.approx(1, abs=1e-6)
    assert rates.fit_weights(x, 5, 1) @ y == pytest.approx(1, abs=1e-6)
