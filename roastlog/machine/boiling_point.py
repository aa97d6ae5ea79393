"""Boiling point of water, as a reference for probe checks. Pure.

The pressure at an altitude is that of the standard atmosphere: U.S. Standard Atmosphere 1976, the same as ISO 2533 up
to 11 km. The boiling point at a pressure is the saturation temperature of IAPWS-IF97, region 4, accurate to some mK.
Constants and coefficients are from memory; tests/golden/boiling_water.csv has the expected values.
"""

import math
from typing import Final

from roastlog.errors import InstrumentError
from roastlog.languages import _

# The standard atmosphere at sea level and its troposphere.
SEA_LEVEL_KPA: Final = 101.325
_SEA_LEVEL_K: Final = 288.15
_LAPSE_K_PER_M: Final = 0.0065
_GRAVITY_M_PER_S2: Final = 9.80665
_AIR_KG_PER_MOL: Final = 0.0289644
_GAS_J_PER_MOL_K: Final = 8.31432
_POWER: Final = _GRAVITY_M_PER_S2 * _AIR_KG_PER_MOL / (_GAS_J_PER_MOL_K * _LAPSE_K_PER_M)

# n1 to n10 of the saturation line of IAPWS-IF97, for MPa and K.
_N: Final = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849e0,
    0.65017534844798e3,
)
LOWEST_M: Final = -500.0
HIGHEST_M: Final = 6000.0
LOWEST_KPA: Final = 40.0
HIGHEST_KPA: Final = 110.0


def air_pressure_kpa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere; weather changes the true one by about 2 kPa. [kPa]

    Parameters
    ----------
    altitude_m
        Above sea level, -500 to 6000. [m]

    Raises
    ------
    InstrumentError
        If the altitude is out of range.
    """
    if not LOWEST_M <= altitude_m <= HIGHEST_M:
        raise InstrumentError(
            _(
                "Altitude must be {lowest_m:g} to {highest_m:g} m, not {altitude:g} m.",
                lowest_m=LOWEST_M,
                highest_m=HIGHEST_M,
                altitude=altitude_m,
            )
        )
    return float(SEA_LEVEL_KPA * (1.0 - _LAPSE_K_PER_M * altitude_m / _SEA_LEVEL_K) ** _POWER)


def boiling_point_c(pressure_kpa: float) -> float:
    """Temperature at which pure water boils. [°C]

    Parameters
    ----------
    pressure_kpa
        Local air pressure, not reduced to sea level; 40 to 110. [kPa]

    Raises
    ------
    InstrumentError
        If the pressure is out of range.
    """
    if not LOWEST_KPA <= pressure_kpa <= HIGHEST_KPA:
        raise InstrumentError(
            _(
                "Pressure must be {lowest_kpa:g}–{highest_kpa:g} hPa, not {pressure:g} hPa.",
                lowest_kpa=LOWEST_KPA * 10,
                highest_kpa=HIGHEST_KPA * 10,
                pressure=pressure_kpa * 10,
            )
        )
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _N
    beta = (pressure_kpa / 1000.0) ** 0.25
    e = beta**2 + n3 * beta + n6
    f = n1 * beta**2 + n4 * beta + n7
    g = n2 * beta**2 + n5 * beta + n8
    d = 2.0 * g / (-f - math.sqrt(f * f - 4.0 * e * g))
    whole = n10 + d
    return float((whole - math.sqrt(whole**2 - 4.0 * (n9 + n10 * d))) / 2.0 - 273.15)
