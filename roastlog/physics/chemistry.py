"""What happens inside the bean: drying, the heat of the roasting reactions, heat capacity, organic loss.

The forms and constants are those of H. G. Schwartzberg, "Modeling bean heating during batch roasting of coffee
beans", in Welti-Chanes, Barbosa-Cánovas, Aguilera (eds), *Engineering and Food for the 21st Century*, CRC Press,
2002, **as remembered**: the chapter itself was not seen. What speaks for them is only that they give a plausible
roast along a prescribed bean curve (`tests/golden/plausibility_run.csv`).

Masses are per kg of dry solid as charged; ``moisture`` is kg of water per kg of dry solid (dry basis).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp

KELVIN = 273.15

# All from memory, see above.
CAPACITY_DRY = 1.099  # [kJ/(kg dry·K)] at 0 °C
CAPACITY_PER_C = 0.0070  # [kJ/(kg dry·K²)]
CAPACITY_WATER = 5.0  # [kJ/(kg water·K)], with the heat of desorption lumped in
DRYING_FACTOR = 4.32e9  # [mm²/s]
DRYING_K = 9889.0  # activation temperature [K], about 82 kJ/mol
REACTION_FACTOR = 116_200.0  # [kW/kg dry]
REACTION_K = 5500.0  # activation temperature [K], about 46 kJ/mol
REACTION_TOTAL = 232.0  # heat that the reactions can give [kJ/kg dry]
LATENT_HEAT = 2790.0  # of evaporation and desorption [kJ/kg water]


def dry_basis(moisture_wet: float) -> float:
    """Water per kg of dry solid, from the share of water in the moist bean."""
    return moisture_wet / (1.0 - moisture_wet)


def wet_basis(moisture: float) -> float:
    """Share of water in the moist bean, from the water per kg of dry solid."""
    return moisture / (1.0 + moisture)


def heat_capacity(bean_c: float, moisture: float) -> float:
    """Heat capacity of the beans that hold 1 kg of dry solid. [kJ/K]

    Divide by ``1 + moisture`` for the heat capacity per kg of moist bean.
    """
    return CAPACITY_DRY + CAPACITY_PER_C * bean_c + CAPACITY_WATER * moisture


def heat_content(bean_c: float, moisture: float) -> float:
    """Sensible heat, above 0 °C, of the beans that hold 1 kg of dry solid: the integral of `heat_capacity`. [kJ]"""
    return (CAPACITY_DRY + 0.5 * CAPACITY_PER_C * bean_c + CAPACITY_WATER * moisture) * bean_c


def drying_rate(bean_c: float, moisture: float, *, bean_mm: float, factor: float = 1.0) -> float:
    """Speed at which water leaves the bean; never negative. [kg water/(kg dry·s)]

    Parameters
    ----------
    bean_c
        Bean temperature. [°C]
    moisture
        Water content, dry basis. [kg/kg dry]
    bean_mm
        Bean diameter. [mm]
    factor
        Multiplies the remembered rate constant, to fit a coffee's weighed batches.
    """
    return factor * DRYING_FACTOR * moisture * moisture / (bean_mm * bean_mm) * exp(-DRYING_K / (bean_c + KELVIN))


def reaction_heat(bean_c: float, released: float, *, total: float = REACTION_TOTAL) -> float:
    """Heat that the roasting reactions give. [kW/kg dry]

    Parameters
    ----------
    bean_c
        Bean temperature. [°C]
    released
        Heat given so far. [kJ/kg dry]
    total
        Heat that can be given in all; 0 for a coffee without reactions. [kJ/kg dry]
    """
    if released >= total:
        return 0.0
    return REACTION_FACTOR * exp(-REACTION_K / (bean_c + KELVIN)) * (total - released) / total


@dataclass(frozen=True, slots=True)
class BeanState:
    """What a bean has become at ``time_s``: its temperature, moisture (dry basis) and heat released [kJ/kg dry]."""

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
    """Chemistry of a bean that is led along a prescribed temperature curve, by Euler steps.

    Parameters
    ----------
    times_s, temps_c
        Corners of the curve, linear in between; times strictly increase. [s], [°C]
    moisture
        Water content at the start, dry basis. [kg/kg dry]
    bean_mm
        Bean diameter. [mm]
    step_s
        Length of a step. [s]

    Returns
    -------
    list of BeanState
        The start and the state after each step.
    """
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
