"""Conversion of mV and ohm to °C: tables of the standards, cold junctions, and impossible values."""

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.errors import InstrumentError
from roastlog.machine.thermometry import THERMOCOUPLES, emf_mv, platinum_c, platinum_ohm, thermocouple_c

GOLDEN = Path(__file__).parents[1] / "golden"

# Coefficients of NIST Monograph 175 [verified: at least six public implementations that cite NIST agree]. One public
# implementation has the sixth of K below 0 °C with the other sign.
K_BELOW = (
    0, 0.394501280250e-1, 0.236223735980e-4, -0.328589067840e-6, -0.499048287770e-8, -0.675090591730e-10,
    -0.574103274280e-12, -0.310888728940e-14, -0.104516093650e-16, -0.198892668780e-19, -0.163226974860e-22,
)  # fmt: skip
K_ABOVE = (
    -0.176004136860e-1, 0.389212049750e-1, 0.185587700320e-4, -0.994575928740e-7, 0.318409457190e-9,
    -0.560728448890e-12, 0.560750590590e-15, -0.320207200030e-18, 0.971511471520e-22, -0.121047212750e-25,
)  # fmt: skip
J = (
    0, 0.503811878150e-1, 0.304758369300e-4, -0.856810657200e-7, 0.132281952950e-9, -0.170529583370e-12,
    0.209480906970e-15, -0.125383953360e-18, 0.156317256970e-22,
)  # fmt: skip


def table(name: str) -> list[dict[str, str]]:
    """Rows of a golden file."""
    lines = (GOLDEN / name).read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert len(rows) > 20
    return rows


def by_hand(kind: str, temp_c: float) -> float:
    """The emf by the coefficients above, independent of the library. [mV]"""
    terms = J if kind == "J" else K_BELOW if temp_c < 0 else K_ABOVE
    emf = sum(term * temp_c**power for power, term in enumerate(terms))
    return emf + (0.1185976 * math.exp(-0.1183432e-3 * (temp_c - 126.9686) ** 2) if terms is K_ABOVE else 0)


@pytest.mark.parametrize("kind", ["K", "J"])
def test_thermocouples_agree_with_the_table(kind):
    """Each row (marks in the file) agrees within its rounding from °C to mV, and equivalently back."""
    for row in table("thermocouple_its90_check.csv"):
        temp_c, told_mv = float(row["t90_C"]), float(row[f"{kind}_mV"])
        assert emf_mv(kind, temp_c) == pytest.approx(told_mv, abs=0.00051)
        assert thermocouple_c(kind, told_mv, 0.0) == pytest.approx(temp_c, abs=0.015)


@pytest.mark.parametrize(("kind", "coldest_c", "hottest_c"), [("K", -270, 1372), ("J", -210, 760)])
def test_the_library_has_the_coefficients_of_the_monograph(kind, coldest_c, hottest_c):
    """Over the whole range the library agrees with the coefficients that many public programs share."""
    for temp_c in range(coldest_c, hottest_c + 1):
        assert emf_mv(kind, temp_c) == pytest.approx(by_hand(kind, temp_c), abs=1e-8)


def test_other_types_are_the_types_they_say():
    """At 100 °C T gives 4.279, N 2.774 and E 6.319 mV [memory of the published tables]."""
    assert [round(emf_mv(kind, 100.0), 3) for kind in ("T", "N", "E")] == [4.279, 2.774, 6.319]


@pytest.mark.parametrize(("measured_mv", "junction_c"), [(9.501, 25.0), (8.720, 40.0), (7.663, 60.0)])
def test_the_cold_junction_is_made_up_for_in_emf(measured_mv, junction_c):
    """J at 200 °C [computed]; adding temperatures would read 2.0, 2.9 and 3.7 °C too high."""
    assert thermocouple_c("J", measured_mv, junction_c) == pytest.approx(200.0, abs=0.02)
    assert thermocouple_c("J", measured_mv, 0.0) + junction_c > 201.9


def test_a_cold_junction_of_k():
    """K at 200 °C with a cold junction at 25 °C gives 7.138 mV [computed]."""
    assert thermocouple_c("K", 7.138, 25.0) == pytest.approx(200.0, abs=0.02)


@pytest.mark.parametrize("measured_mv", [-30.0, 200.0, 1e9, math.nan, math.inf])
@pytest.mark.parametrize("kind", THERMOCOUPLES)
def test_a_voltage_that_no_such_thermocouple_gives_is_refused(kind, measured_mv):
    """An impossible voltage is a fault; nothing is extrapolated."""
    with pytest.raises(InstrumentError, match=f"type {kind} thermocouple"):
        thermocouple_c(kind, measured_mv, 25.0)


def test_a_junction_out_of_all_range_is_refused():
    """An impossible cold junction is a fault of the channel."""
    with pytest.raises(InstrumentError, match="not at 9999 °C"):
        thermocouple_c("K", 8.0, 9999.0)


@given(
    kind=st.sampled_from(THERMOCOUPLES),
    temp_c=st.floats(-100, 390),
    junction_c=st.floats(-40, 125),
)
def test_there_and_back(kind, temp_c, junction_c):
    """Any temperature of a roaster is recovered from its emf, with any cold junction."""
    measured_mv = emf_mv(kind, temp_c) - emf_mv(kind, junction_c)
    assert thermocouple_c(kind, measured_mv, junction_c) == pytest.approx(temp_c, abs=1e-6)


@given(measured=st.floats(), junction_c=st.floats(), kind=st.sampled_from(THERMOCOUPLES))
def test_any_numbers_give_a_temperature_of_the_range_or_an_error(measured, junction_c, kind):
    """Any numbers, even NaN and infinities, give a possible temperature or an error."""
    for convert in (lambda: thermocouple_c(kind, measured, junction_c), lambda: platinum_c(measured)):
        try:
            temp_c = convert()
        except InstrumentError:
            continue
        assert -270.001 <= temp_c <= 1372.001


def test_platinum_agrees_with_the_table():
    """Each row (marks in the file) agrees within its rounding from °C to ohm, and equivalently back."""
    for row in table("pt100_iec60751_check.csv"):
        temp_c, told_ohm = float(row["t_C"]), float(row["R_ohm"])
        assert platinum_ohm(temp_c) == pytest.approx(told_ohm, abs=0.0051)
        assert platinum_c(told_ohm) == pytest.approx(temp_c, abs=0.015)
        assert platinum_c(told_ohm * 10, 1000.0) == pytest.approx(temp_c, abs=0.015)


@given(temp_c=st.floats(-200, 850))
def test_platinum_there_and_back(temp_c):
    """Positive and negative temperatures are recovered from their resistance."""
    assert platinum_c(platinum_ohm(temp_c)) == pytest.approx(temp_c, abs=1e-9)


@pytest.mark.parametrize("measured_ohm", [0.0, 18.5, 390.5, 1e9, -100.0, math.nan, math.inf])
def test_a_resistance_that_no_pt100_has_is_refused(measured_ohm):
    """A short circuit, a broken wire, and a Pt1000 instead of a Pt100 are faults."""
    with pytest.raises(InstrumentError, match="not possible for a Pt100"):
        platinum_c(measured_ohm)
