"""Questions for another scale: which are asked, and of which values never."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.machine.model import Channel, Control
from roastlog.machine.rescaling import SHOWN_C, likely_rescalings
from roastlog.machine.sources import ByHand, ModbusPoint, MqttPoint, Sensor
from roastlog.units import c_from_f


def channel(role: str = "bean_probe", **point: float) -> Channel:
    """A channel of a meter."""
    meter = ModbusPoint(host="a", table="input", address=0, type="int16", **point)
    return Channel(id="a", name="A", role=role, modbus=meter)


def control(low: float, high: float, step: float, **point: float) -> Control:
    """A control with a register."""
    meter = ModbusPoint(host="a", table="holding", address=0, type="int16", **point)
    return Control(id="a", name="A", low=low, high=high, step=step, modbus=meter)


def asked(part: Channel | Control, value: float) -> list[tuple[float, float]]:
    """Scale, in °F where they are meant, and value of each question."""
    return [(one.decimal_scale, one.value) for one in likely_rescalings(part, value)]


@pytest.mark.parametrize(
    ("role", "value", "questions"),
    [
        ("bean_probe", 2043, [(0.1, 204.3), (0.01, 20.43)]),
        ("bean_probe", 20430, [(0.01, 204.3)]),
        ("bean_probe", 2.043, [(10, 20.43)]),
        ("bean_probe", 392, [(0.1, 39.2), (1, 200)]),  # 392 °F is 200 °C
        ("bean_probe", 3920, [(0.01, 39.2), (0.1, 200)]),
        ("inlet_air", 5500, [(0.1, 550), (0.01, 55)]),
        ("room", -85, [(0.1, -8.5), (0.01, -0.85)]),
        ("bean_probe", 204.3, []),
        ("inlet_air", 550, []),
        ("bean_probe", 0, []),
        ("bean_probe", -2043, []),
        ("bean_probe", 1e9, []),
        ("bean_probe", math.nan, []),
        ("bean_probe", math.inf, []),
    ],
)
def test_a_channel_asks_for_a_scale_that_fits_its_role(role, value, questions):
    """The most usual comes first, two at most; a plausible value, and one that no scale helps, ask nothing."""
    assert asked(channel(role), value) == questions


@pytest.mark.parametrize("raw", [65535, 32767, -32768, 9999, 2147483647, 4294967295])
@pytest.mark.parametrize("scale", [1.0, 0.1, 0.01, 10.0])
@pytest.mark.parametrize("role", SHOWN_C)
def test_the_number_of_a_broken_probe_asks_nothing(raw, scale, role):
    """Ends of integers mean a broken probe, at any scale: 327.67 °C would be plausible for exhaust air."""
    assert asked(channel(role, scale=scale), raw * scale) == []


def test_the_present_scale_and_offset_are_replaced():
    """The question names the new scale of the raw value, with its offset scaled too."""
    assert asked(channel(scale=10.0), 20430) == [(0.1, 204.3)]
    (found, *_) = likely_rescalings(channel(scale=1.0, offset=-5.0), 2038)
    assert (found.scale, found.offset, found.value) == (0.1, -0.5, 203.8)


def test_the_offset_of_a_channel_is_added():
    """A question shows what the page will show."""
    probe = channel().model_copy(update={"offset_c": -1.3})
    assert asked(probe, 2043) == [(0.1, 203.0), (0.01, 19.13)]
    assert asked(probe, 261) == []


@pytest.mark.parametrize(
    ("low", "high", "step", "value", "questions"),
    [
        (0, 10, 0.5, 45, [(0.1, 4.5)]),  # 0.45 is on no step
        (0, 10, 0.5, 50, [(0.1, 5), (0.01, 0.5)]),
        (0, 10, 0.5, 47, [(0.1, 4.7), (0.01, 0.47)]),  # a knob between two steps
        (0, 100, 5, 45, []),
        (0, 10, 0.5, 10.4, []),  # is put onto 10
        (0, 10, 0.5, 65535, []),
        (20, 80, 1, 4, [(10, 40)]),
        (0, 10, 0.5, -45, []),
        (0, 1000, 1, 392, []),
    ],
)
def test_a_control_asks_for_a_scale_that_fits_its_range(low, high, step, value, questions):
    """A scale that gives one of its steps is preferred; there is no °F."""
    assert asked(control(low, high, step), value) == questions


def test_nothing_is_asked_where_no_scale_is():
    """A value typed by hand has no scale, a sensor in mV has its own range, and a control may have no register."""
    assert likely_rescalings(Channel(id="a", name="A", role="drum", hand=ByHand()), 2043) == []
    point = MqttPoint(host="a", topic="b")
    assert (
        likely_rescalings(Channel(id="a", name="A", role="drum", mqtt=point, sensor=Sensor(type="Pt100")), 2043) == []
    )
    assert likely_rescalings(Control(id="a", name="A", low=0, high=1, step=1), 5) == []


@given(role=st.sampled_from(sorted(SHOWN_C)), value=st.floats(-1e6, 1e6))
def test_each_question_is_plausible_and_asks_no_more(role: str, value: float):
    """Its value is within the role's range, follows from its scale, and is asked about no second time."""
    for one in likely_rescalings(channel(role), value):
        low, high = SHOWN_C[role]
        assert low <= one.value <= high
        by_scale = c_from_f(value * one.decimal_scale) if one.from_f else value * one.scale
        assert one.value == pytest.approx(by_scale, abs=1e-5)
        assert likely_rescalings(channel(role, scale=one.scale, offset=one.offset), one.value) == []
