"""Owners' actions on the same subject at once. `make soak` races those on different subjects too."""

from tests.conftest import Bench
from tests.soak.races import RELATED, faults


def test_two_actions_at_once_are_both_in_effect_or_one_takes_the_place_of_the_other(bench: Bench):
    """Each pair that meets in the writer: no error, no acknowledged change lost, no name given twice, true lists."""
    assert faults(bench, RELATED) == []
