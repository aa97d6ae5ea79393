"""Air with two heat sinks, and radiation."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.physics.heat import exchange_heat, radiant_heat

conductance = st.floats(0.0005, 0.5)
temp = st.floats(0.0, 400.0)
sink = st.tuples(conductance, temp)


@given(inlet_c=temp, flow=st.floats(0.005, 0.1), first=sink, second=sink)
def test_heat_balance_of_the_air(inlet_c: float, flow: float, first: tuple[float, float], second: tuple[float, float]):
    """The heat gained by both sinks equals the heat lost by the air."""
    outlet_c, first_kw, second_kw = exchange_heat(inlet_c, flow, (first, second))
    assert first_kw + second_kw == pytest.approx(flow * (inlet_c - outlet_c), abs=1e-9)
    assert min(inlet_c, first[1], second[1]) - 1e-9 <= outlet_c <= max(inlet_c, first[1], second[1]) + 1e-9


def test_closed_form_equals_walking_along_the_air():
    """Integration over 10,000 thin slices gives the same outlet temperature and the same heats."""
    inlet_c, flow, u1, t1, u2, t2 = 320.0, 0.02, 0.018, 120.0, 0.009, 190.0
    air_c, first_kw, second_kw, slices = inlet_c, 0.0, 0.0, 10_000
    for _ in range(slices):
        one, two = u1 / slices * (air_c - t1), u2 / slices * (air_c - t2)
        first_kw, second_kw, air_c = first_kw + one, second_kw + two, air_c - (one + two) / flow
    assert exchange_heat(inlet_c, flow, ((u1, t1), (u2, t2))) == pytest.approx((air_c, first_kw, second_kw), rel=1e-3)


def test_glow_of_a_black_square_metre_at_100_c():
    """σT⁴ at 373.15 K is 1,099.4 W/m² (Stefan-Boltzmann law with the SI value of σ), against next to nothing."""
    assert radiant_heat(100.0, -273.15, 1.0) == pytest.approx(1.0994, abs=1e-4)


def test_glow_turns_round_with_the_temperatures():
    """Radiation changes its sign when the temperatures are swapped."""
    assert radiant_heat(600.0, 200.0, 0.04) == pytest.approx(-radiant_heat(200.0, 600.0, 0.04))
