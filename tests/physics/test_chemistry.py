"""The chemistry of the bean against values computed elsewhere."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from roastlog.physics.chemistry import (
    dry_basis,
    drying_rate,
    heat_capacity,
    heat_content,
    reaction_heat,
)

GOLDEN = Path(__file__).parents[1] / "golden" / "plausibility_run.csv"
MINUTES = (0.0, 2.5, 5.0, 9.0, 11.0, 13.5)
TEMPS_C = (25.0, 100.0, 150.0, 196.0, 210.0, 225.0)


def golden_rows() -> list[dict[str, float]]:
    lines = [line for line in GOLDEN.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return [{name: float(value) for name, value in row.items()} for row in csv.DictReader(lines)]


def wet_basis(moisture: float) -> float:
    """Share of water in the moist bean, from the water per kg of dry solid."""
    return moisture / (1.0 + moisture)


@dataclass(frozen=True, slots=True)
class BeanState:
    """State of a bean at ``time_s``: temperature, moisture (dry basis) and heat released [kJ/kg dry]."""

    time_s: float
    bean_c: float
    moisture: float
    released: float


def along_curve(
    times_s: Sequence[float],
    temps_c: Sequence[float],
    *,
    moisture: float,
    bean_mm: float = 6.0,
    step_s: float = 1.0,
) -> list[BeanState]:
    """Chemistry of a bean on a prescribed temperature curve, by Euler steps. [s], [°C], [kg/kg dry]"""
    states = [BeanState(times_s[0], temps_c[0], moisture, 0.0)]
    corner, released = 0, 0.0
    for index in range(1, round((times_s[-1] - times_s[0]) / step_s) + 1):
        before_c = states[-1].bean_c
        moisture = max(0.0, moisture - step_s * drying_rate(before_c, moisture, bean_mm=bean_mm))
        released += step_s * reaction_heat(before_c, released)
        time_s = times_s[0] + index * step_s
        while corner < len(times_s) - 2 and time_s > times_s[corner + 1]:
            corner += 1
        share = (time_s - times_s[corner]) / (times_s[corner + 1] - times_s[corner])
        bean_c = temps_c[corner] + share * (temps_c[corner + 1] - temps_c[corner])
        states.append(BeanState(time_s, bean_c, moisture, released))
    return states


def prescribed():
    return along_curve([60.0 * minute for minute in MINUTES], TEMPS_C, moisture=0.1236, bean_mm=6.0)


@pytest.mark.parametrize("row", golden_rows(), ids=lambda row: f"minute {row['minute']:g}")
def test_prescribed_curve_gives_the_tabled_moisture_and_heat(row: dict[str, float]):
    """Moisture within 0.02 percentage points and heat within 0.2 kJ/kg of tests/golden/plausibility_run.csv."""
    state = prescribed()[round(60 * row["minute"])]
    assert state.bean_c == pytest.approx(row["temp_c"], abs=0.51)  # the table prints whole degrees
    assert 100 * wet_basis(state.moisture) == pytest.approx(row["moisture_wet_percent"], abs=0.02)
    assert state.released == pytest.approx(row["released_kj_per_kg_dry"], abs=0.2)


def test_prescribed_curve_loses_the_stated_water():
    """Water lost is 9.6 % of the green mass (same file, head)."""
    states = prescribed()
    lost = (states[0].moisture - states[-1].moisture) / (1.0 + states[0].moisture)
    assert lost == pytest.approx(0.096, abs=0.0005)


# Worked values, computed separately from the same remembered formulas, to the given digits.
@pytest.mark.parametrize(
    ("bean_c", "moisture", "expected"),
    [(25, 0.12, 1.673), (25, 0.13, 1.703), (100, 0.10, 2.090), (200, 0.02, 2.548), (220, 0.01, 2.662)],
)
def test_heat_capacity_of_moist_beans(bean_c: float, moisture: float, expected: float):
    """Per kg of moist bean it equals the worked values. [kJ/(kg·K)]"""
    assert heat_capacity(bean_c, moisture) / (1.0 + moisture) == pytest.approx(expected, abs=0.0006)


@pytest.mark.parametrize(
    ("bean_c", "moisture", "expected"),
    [(150, 0.10, 8.51e-5), (180, 0.06, 1.44e-4), (200, 0.04, 1.61e-4), (220, 0.02, 9.39e-5)],
)
def test_drying_rate(bean_c: float, moisture: float, expected: float):
    """The drying rate of a bean of 6 mm equals the worked values. [1/s]"""
    assert drying_rate(bean_c, moisture, bean_mm=6.0) == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize(("bean_c", "expected"), [(150, 0.263), (180, 0.622), (200, 1.040), (220, 1.666), (240, 2.573)])
def test_reaction_heat_of_a_fresh_bean(bean_c: float, expected: float):
    """Before any release it equals the worked values. [kW/kg]"""
    assert reaction_heat(bean_c, 0.0) == pytest.approx(expected, abs=0.002)


def test_heat_content_is_the_integral_of_heat_capacity():
    """Its slope, by a central difference, is the heat capacity."""
    slope = (heat_content(150.01, 0.08) - heat_content(149.99, 0.08)) / 0.02
    assert slope == pytest.approx(heat_capacity(150.0, 0.08), rel=1e-9)


def test_reactions_end_when_all_heat_is_given():
    """A bean that has released all its heat, and a coffee without any, release no heat."""
    assert reaction_heat(230.0, 232.0) == 0.0
    assert reaction_heat(230.0, 0.0, total=0.0) == 0.0


def test_eleven_percent_wet_is_the_tabled_dry_basis():
    """11 % of the moist bean is 0.1236 kg per kg dry, and back."""
    assert dry_basis(0.11) == pytest.approx(0.1236, abs=5e-5)
    assert wet_basis(dry_basis(0.11)) == pytest.approx(0.11)
