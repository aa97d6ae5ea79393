"""Check weights against the tolerable negative errors of EU Directive 76/211/EEC, by its table as remembered."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.quality.check_weights import MOST_G, CheckWeights, tolerable_error_g

# Annex I, 2.4 [from memory, not verified]: nominal weight and error, in g.
TABLE = [(5, 0.5), (50, 4.5), (75, 4.5), (100, 4.5), (150, 6.8), (200, 9), (250, 9), (300, 9), (400, 12), (500, 15)]
TABLE += [(1000, 15), (2000, 30), (10_000, 150)]


@pytest.mark.parametrize(("nominal_g", "error_g"), TABLE)
def test_errors_are_those_of_the_table(nominal_g: int, error_g: float):
    """A share is rounded up to a tenth of a gram; 150 g may lack 6.75, so 6.8 g."""
    assert tolerable_error_g(nominal_g) == pytest.approx(error_g, abs=1e-9)


def test_other_sizes_have_no_error():
    """Neither less than 5 g nor more than 10 kg has one, and such bags break no rule about it."""
    assert tolerable_error_g(4.9) is None
    assert tolerable_error_g(MOST_G + 1) is None
    assert CheckWeights([4.0], 4).faults == []


@given(st.floats(5, MOST_G), st.floats(5, MOST_G))
def test_a_larger_bag_may_lack_as_much_or_more(one_g: float, other_g: float):
    """The errors never fall with the nominal weight, beyond the rounding up to a tenth."""
    small_g, large_g = sorted((one_g, other_g))
    assert tolerable_error_g(small_g) <= tolerable_error_g(large_g) + 0.1


def test_full_bags_pass_and_tell_what_they_give_away():
    """Three bags of 250 g with 252 g on average give 2 g away, 0.8 %."""
    weighed = CheckWeights([251, 252, 253], 250)
    assert (weighed.give_away_g, weighed.give_away, weighed.short, weighed.faults) == (2, 0.008, 0, [])
    assert weighed.sentence == "Mean 252.0 g of 3 checked · +2.0 g (+0.8%) a bag"


def test_each_rule_that_is_broken_is_told():
    """A mean below the nominal weight, one bag of few below one error, and one below two."""
    faults = CheckWeights([250, 249, 240, 231], 250).faults
    assert len(faults) == 3
    assert "242.5 g, is below the nominal 250 g" in faults[0]
    assert "1 bag lacks more than twice the tolerable 9 g" in faults[1]
    assert "2 of 4 bags lack" in faults[2]


def test_one_short_bag_of_forty_is_tolerated():
    """2.5 % may lack more than the error, if the mean is right; exactly the error is not more than it."""
    assert CheckWeights([240, *[252] * 39], 250).faults == []
    assert CheckWeights([241, 260], 250).short == 0
