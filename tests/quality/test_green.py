"""Green coffee against the published limits: full defects, density, verdicts."""

from pathlib import Path

import numpy as np
import pytest

from roastlog.journal.kinds.green import Checked
from roastlog.quality.green import (
    BEANS_PER_FULL_DEFECT,
    FIRST_CATEGORY,
    SECOND_CATEGORY,
    all_within,
    density_g_l,
    findings,
    full_defects,
)

TABLE = Path(__file__).parents[1] / "golden" / "green_defects.csv"


def verdicts(**measured: object) -> list[str]:
    """The verdicts on a check."""
    return [one.verdict for one in findings(Checked.model_validate(measured))]


def test_beans_per_full_defect_are_those_of_the_poster():
    """Each kind of defect has the category and the number of beans of the published table."""
    rows = np.loadtxt(TABLE, dtype=str, delimiter=",", skiprows=3)
    assert {kind: int(beans) for kind, _, beans in rows} == BEANS_PER_FULL_DEFECT
    assert [kind for kind, category, _ in rows if category == "1"] == list(FIRST_CATEGORY)
    assert [kind for kind, category, _ in rows if category == "2"] == list(SECOND_CATEGORY)


@pytest.mark.parametrize(
    ("beans", "first", "second"),
    [
        ({}, 0, 0),
        ({"broken": 7}, 0, 1),  # whole full defects only [memory]
        ({"broken": 4, "shell": 4}, 0, 0),  # each kind by itself
        ({"severe_insect": 5, "slight_insect": 19}, 1, 1),
        ({"full_black": 2, "partial_black": 3, "partial_sour": 6}, 2, 3),
    ],
)
def test_full_defects_are_whole_and_by_kind(beans: dict[str, int], first: int, second: int):
    """The remainder of a kind counts for nothing and is not added to another kind."""
    assert full_defects(beans, FIRST_CATEGORY) == first
    assert full_defects(beans, SECOND_CATEGORY) == second


@pytest.mark.parametrize(
    ("measured", "expected"),
    [  # SCA poster 2018 [read in a copy]: 10 to 12 %, water activity below 0.70, 0 and at most 5 in 350 g, no quaker
        ({"moisture_percent": 10.0}, ["within"]),
        ({"moisture_percent": 12.0}, ["within"]),
        ({"moisture_percent": 9.9}, ["outside"]),
        ({"moisture_percent": 12.1}, ["outside"]),
        ({"water_activity": 0.69}, ["within"]),
        ({"water_activity": 0.70}, ["outside"]),
        ({"defects": {"broken": 25}}, ["within", "within"]),
        ({"defects": {"broken": 30}}, ["within", "outside"]),
        ({"defects": {"pod": 1}}, ["outside", "within"]),
        ({"quakers": 0}, ["within"]),
        ({"quakers": 1}, ["outside"]),
        ({"screen": 15, "screen_percent": 85.0, "screen_ordered_percent": 90.0}, ["within"]),
        ({"screen": 15, "screen_percent": 84.9, "screen_ordered_percent": 90.0}, ["outside"]),
        ({"screen_percent": 94.0}, []),
    ],
)
def test_a_check_is_judged_by_the_published_limits(measured: dict[str, object], expected: list[str]):
    """The bounds themselves are inside, except that of water activity."""
    assert verdicts(**measured) == expected


def test_a_count_in_another_sample_is_judged_only_where_that_is_certain():
    """Few in a small sample, and many in a large one, decide nothing for 350 g."""
    assert verdicts(defects={}, sample_g=100) == ["unknown", "unknown"]
    assert verdicts(defects={"pod": 1}, sample_g=100) == ["outside", "unknown"]
    assert verdicts(defects={"broken": 30}, sample_g=700) == ["within", "unknown"]


def test_information_decides_nothing():
    """A screen size below the order is told and keeps no lot out; nothing measured decides nothing."""
    ordered = {"screen_percent": 50.0, "screen_ordered_percent": 90.0}
    assert all_within(findings(Checked.model_validate({"moisture_percent": 11.0, **ordered}))) is True
    assert all_within(findings(Checked.model_validate(ordered))) is None
    assert all_within(findings(Checked(moisture_percent=13.0))) is False


def test_density_by_a_fixed_volume():
    """702 g that fill a litre are 702 g/l, and so are 351 g in half a litre."""
    assert density_g_l(702, 1000) == pytest.approx(702)
    assert density_g_l(351, 500) == pytest.approx(702)
