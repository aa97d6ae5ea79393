"""How long green coffee lasts, and the order in which lots are used.

All of it is common practice and our choice, no standard: pages say so.
"""

from datetime import date
from typing import Final

DAY_MS: Final = 86_400_000
WINDOW_DAYS: Final = 28
"""Days over which the rate of use is taken."""
LEAST_DAYS: Final = 7
"""A lot that came later than this still has its use spread over so many days."""
DAYS_PER_MONTH: Final = 365.2425 / 12
MONTHS_PER_POINT: Final = 6.0
"""Months by which a point of moisture, gained or lost since the first check, makes a lot older."""


def window_days(present_days: float) -> float:
    """The days over which the use of coffee is averaged that has been in the house for some time. [d]"""
    return min(float(WINDOW_DAYS), max(float(LEAST_DAYS), present_days))


def cover_days(left_g: float, used_g: float, over_days: float) -> float | None:
    """Days that a stock lasts at the rate of use of some days; None where nothing was used, 0 for an empty one. [d]"""
    if left_g <= 0:
        return 0.0
    return left_g / used_g * over_days if used_g > 0 else None


def age_months(since: date, today: date) -> float:
    """Age in mean months; 0 for a date that lies ahead."""
    return max(0.0, (today - since).days / DAYS_PER_MONTH)


def use_first_months(months: float, moisture_change: float | None) -> float:
    """The age by which lots are put in order of use: half a point of moisture counts as three months."""
    return months + MONTHS_PER_POINT * abs(moisture_change or 0.0)
