"""Days of cover, ages and the order of use."""

from datetime import date

import pytest

from roastlog.trace.cover import age_months, cover_days, use_first_months, window_days


def test_cover_follows_the_rate_of_use():
    """42 kg at 56 kg in 28 days last 21 days; an unused stock has no end, and an empty or short one lasts no day."""
    assert cover_days(42_000, 56_000, 28) == pytest.approx(21)
    assert cover_days(42_000, 0, 28) is None
    assert cover_days(0, 56_000, 28) == 0
    assert cover_days(-100, 0, 28) == 0


@pytest.mark.parametrize(("present", "window"), [(0.5, 7), (7, 7), (12.5, 12.5), (28, 28), (400, 28)])
def test_new_coffee_is_averaged_over_its_own_days(present: float, window: float):
    """The window is the time in the house, from a week up to four."""
    assert window_days(present) == window


def test_age_and_order_of_use():
    """A year is twelve months; half a point of moisture, up or down, counts as three more."""
    assert age_months(date(2025, 11, 28), date(2026, 11, 28)) == pytest.approx(12, abs=0.02)
    assert age_months(date(2027, 1, 1), date(2026, 11, 28)) == 0
    assert use_first_months(4, None) == 4
    assert use_first_months(4, -0.5) == use_first_months(4, 0.5) == 7
