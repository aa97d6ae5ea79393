"""Stock of a lot."""

from hypothesis import given
from hypothesis import strategies as st

from roastlog.trace.ledger import LotBalance

grams = st.floats(0, 1e6)


def test_rest_of_a_lot():
    """60 kg less batches of 4 and 3.6 kg leaves 52.4 kg."""
    assert LotBalance.of(60_000, [4000, 3600]).left_g == 52_400


@given(grams, st.lists(grams))
def test_nothing_is_lost(bought_g: float, taken_g: list[float]):
    """Bought equals taken plus left, whatever the order of batches."""
    balance = LotBalance.of(bought_g, iter(taken_g))
    assert abs(balance.taken_g + balance.left_g - bought_g) <= 1e-6
    assert LotBalance.of(bought_g, reversed(taken_g)) == balance


def test_shortfall():
    """The shortfall of a batch is its demand beyond the rest; on an overdrawn lot it is the whole demand."""
    assert LotBalance.of(5000, [2000]).shortfall_g(4000) == 1000
    assert LotBalance.of(5000, [2000]).shortfall_g(3000) == 0
    assert LotBalance.of(5000, [6000]).shortfall_g(4000) == 4000
    assert LotBalance.of(5000, [6000]).left_g == -1000
