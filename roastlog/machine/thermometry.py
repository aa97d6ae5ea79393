"""Conversion of millivolts and ohms to °C. Pure.

Thermocouples by ITS-90, with the library thermocouple-its90: the reference functions of NIST Monograph 175, inverted
exactly; it agrees with the tables in tests/golden/thermocouple_its90_check.csv. Platinum resistances by IEC 60751.
"""

import math
from typing import Final, Literal, get_args

from roastlog.errors import InstrumentError
from roastlog.languages import _

ThermocoupleType = Literal["K", "J", "T", "N", "E"]
THERMOCOUPLES: Final[tuple[ThermocoupleType, ...]] = get_args(ThermocoupleType)

# Callendar-Van Dusen coefficients of IEC 60751 (from memory, as is tests/golden/pt100_iec60751_check.csv).
_A: Final = 3.9083e-3
_B: Final = -5.775e-7
_C: Final = -4.183e-12
_COLDEST_C: Final = -200.0
_HOTTEST_C: Final = 850.0


def emf_mv(kind: ThermocoupleType, temp_c: float) -> float:
    """Voltage of a thermocouple with its cold junction at 0 °C. [mV]

    Raises
    ------
    InstrumentError
        If the type is not defined at that temperature.
    """
    from thermocouple_its90 import RangeError, get  # noqa: PLC0415, only a channel in mV needs it

    try:
        return float(get(kind).emf(temp_c))
    except RangeError:
        low_c, high_c = get(kind).range
        raise InstrumentError(
            _(
                "A thermocouple of type {kind} is defined from {low:g} to {high:g} °C, not at {temp:g} °C.",
                kind=kind,
                low=low_c,
                high=high_c,
                temp=temp_c,
            )
        ) from None


def thermocouple_c(kind: ThermocoupleType, measured_mv: float, junction_c: float) -> float:
    """Temperature at the tip of a thermocouple. [°C]

    The cold junction is compensated in emf: the emf of its temperature is added to the measured one, and the sum is
    converted to °C. Adding temperatures instead would be off by up to some °C, because the curves are not linear.

    Parameters
    ----------
    kind : {"K", "J", "T", "N", "E"}
        Its type.
    measured_mv : float
        Voltage at its cold junction. [mV]
    junction_c : float
        Temperature of its cold junction. [°C]

    Raises
    ------
    InstrumentError
        If the voltage is out of range for the type: nothing is extrapolated.
    """
    from thermocouple_its90 import RangeError, get  # noqa: PLC0415, as above

    whole_mv = measured_mv + emf_mv(kind, junction_c)
    try:
        return float(get(kind).temperature(whole_mv))
    except RangeError:
        low_mv, high_mv = get(kind).invertible_emf_range
        raise InstrumentError(
            _(
                "{measured_mv:.6g} mV is not possible for a type {kind} thermocouple, which gives "
                "{low_mv:.2f} to {high_mv:.2f} mV. Is it broken, or is the scale wrong?",
                measured_mv=measured_mv,
                kind=kind,
                low_mv=low_mv,
                high_mv=high_mv,
            )
        ) from None


def platinum_ohm(temp_c: float, nominal_ohm: float = 100.0) -> float:
    """Resistance of a platinum sensor from -200 to 850 °C, by IEC 60751. [ohm]"""
    below = _C * (temp_c - 100.0) * temp_c**3 if temp_c < 0 else 0.0
    return nominal_ohm * (1.0 + _A * temp_c + _B * temp_c**2 + below)


def platinum_c(measured_ohm: float, nominal_ohm: float = 100.0) -> float:
    """Temperature of a platinum sensor by IEC 60751. [°C]

    Parameters
    ----------
    measured_ohm : float
        Its resistance without the leads. [ohm]
    nominal_ohm : float, default 100.0
        Its resistance at 0 °C: 100 for a Pt100, 1000 for a Pt1000. [ohm]

    Raises
    ------
    InstrumentError
        If the resistance does not correspond to -200 to 850 °C.
    """
    low_ohm, high_ohm = platinum_ohm(_COLDEST_C, nominal_ohm), platinum_ohm(_HOTTEST_C, nominal_ohm)
    if not low_ohm <= measured_ohm <= high_ohm:
        raise InstrumentError(
            _(
                "{measured_ohm:.6g} ohm is not possible for a Pt{nominal_ohm:g}, which has {low_ohm:.1f} to "
                "{high_ohm:.1f} ohm. Is it broken, or is the scale wrong?",
                measured_ohm=measured_ohm,
                nominal_ohm=nominal_ohm,
                low_ohm=low_ohm,
                high_ohm=high_ohm,
            )
        )
    temp_c = (-_A + math.sqrt(_A * _A - 4 * _B * (1 - measured_ohm / nominal_ohm))) / (2 * _B)
    # Below 0 °C the equation is of the fourth degree; Newton's method starts from the quadratic solution.
    for _step in range(8 if temp_c < 0 else 0):
        slope = nominal_ohm * (_A + 2 * _B * temp_c + _C * (4 * temp_c**3 - 300 * temp_c**2))
        temp_c -= (platinum_ohm(temp_c, nominal_ohm) - measured_ohm) / slope
    return temp_c
