"""The boiling point of water, against published values."""

import csv
import itertools
import math
from pathlib import Path

import pytest

from roastlog.errors import InstrumentError
from roastlog.machine.boiling_point import (
    HIGHEST_KPA,
    HIGHEST_M,
    LOWEST_KPA,
    LOWEST_M,
    air_pressure_kpa,
    boiling_point_c,
)

GOLDEN = Path(__file__).parents[1] / "golden" / "boiling_water.csv"
LINES = [line for line in GOLDEN.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
ROWS = list(csv.DictReader(LINES))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['source']} {row['pressure_kpa']}")
def test_boiling_point_is_that_of_the_tables(row):
    """At each pressure it agrees with the table within the table's precision."""
    tolerance = float(row["tolerance_k"])
    assert boiling_point_c(float(row["pressure_kpa"])) == pytest.approx(float(row["boiling_c"]), abs=tolerance)


@pytest.mark.parametrize("row", [row for row in ROWS if row["altitude_m"]], ids=lambda row: row["altitude_m"])
def test_pressure_is_that_of_the_standard_atmosphere(row):
    """At each altitude the pressure agrees to the last digit of the table."""
    assert air_pressure_kpa(float(row["altitude_m"])) == pytest.approx(float(row["pressure_kpa"]), abs=0.005001)


def test_water_boils_cooler_the_higher_it_is():
    """The boiling point decreases continuously with altitude."""
    points = [boiling_point_c(air_pressure_kpa(altitude_m)) for altitude_m in range(-500, 6001, 100)]
    steps = [before - after for before, after in itertools.pairwise(points)]
    assert all(0.2 < step < 0.5 for step in steps)


@pytest.mark.parametrize("altitude_m", [LOWEST_M - 1, HIGHEST_M + 1, math.nan, math.inf])
def test_impossible_altitude_is_refused(altitude_m):
    """An impossible altitude is refused, not computed."""
    with pytest.raises(InstrumentError, match="Altitude"):
        air_pressure_kpa(altitude_m)


@pytest.mark.parametrize("pressure_kpa", [LOWEST_KPA - 0.1, HIGHEST_KPA + 0.1, 1013.25, math.nan])
def test_impossible_pressure_is_refused(pressure_kpa):
    """A pressure in another unit is refused, not computed."""
    with pytest.raises(InstrumentError, match="hPa"):
        boiling_point_c(pressure_kpa)
