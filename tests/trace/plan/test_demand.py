"""Demand: stock to the orders that are due first, and the rest to roast."""

from hypothesis import given
from hypothesis import strategies as st

from roastlog.trace.plan.demand import allocate, roasted_needed, short_by_order
from tests.trace.plan.days import order

ORDERS = st.lists(
    st.builds(
        lambda name, bags, days: order(name, 250 * bags, days=days),
        st.sampled_from("ab"),
        st.integers(1, 40),
        st.integers(-2, 5),
    ),
    max_size=8,
)
STOCK = st.dictionaries(st.sampled_from("abc"), st.integers(0, 12_000))


def test_stock_of_the_morning_goes_to_the_first_order():
    """24 kg and 7.75 kg less 6.2 kg of stock leave 17.8 and 7.75 kg to roast."""
    found = allocate([order("alder", 24_000, bag_g=1000), order("alder", 7750)], {"alder": 6200})
    assert [(each.from_stock_g, each.to_roast_g) for each in found] == [(6200, 17_800), (0, 7750)]
    assert roasted_needed(found) == {"alder": 25_550}


@given(ORDERS, STOCK)
def test_every_gram_is_from_stock_or_to_roast(orders, stock_g):
    """Each order is stock and roasting; a product gives at most its stock, and roasts only when that is used up."""
    found = allocate(orders, stock_g)
    assert all(each.from_stock_g + each.to_roast_g == each.order.grams for each in found)
    for name in "ab":
        of_it = [each for each in found if each.order.product == name]
        taken_g = sum(each.from_stock_g for each in of_it)
        assert taken_g == min(stock_g.get(name, 0), sum(each.order.grams for each in of_it))
        roasted = [each.order.due for each in of_it if each.to_roast_g]
        assert not [1 for each in of_it if roasted and each.from_stock_g and each.order.due > min(roasted)]


@given(ORDERS, STOCK, st.dictionaries(st.sampled_from("ab"), st.integers(0, 30_000)))
def test_what_is_left_is_taken_from_the_last_orders(orders, stock_g, left_g):
    """The rest is as chosen, or all there is to roast, and no earlier order loses before a later one."""
    whole, found = allocate(orders, stock_g), allocate(orders, stock_g, left_g)
    for name in "ab":
        of_it = [each for each in found if each.order.product == name]
        lost_g = sum(each.left_g for each in of_it)
        assert lost_g == min(left_g.get(name, 0), roasted_needed(whole).get(name, 0))
        losers = [number for number, each in enumerate(of_it) if each.left_g]
        assert not [1 for each in of_it[min(losers, default=0) + 1 :] if losers and each.to_roast_g]
    assert short_by_order(whole, left_g) == [each.left_g for each in found]


def test_overdue_orders_come_first():
    """An order of yesterday gets the stock before one of tomorrow."""
    found = allocate([order("a", 1000, days=1), order("a", 1000, days=-1)], {"a": 1000})
    assert [(each.order.due.day, each.to_roast_g) for each in found] == [(27, 0), (29, 1000)]
