"""Bean chemistry: drying, reaction heat, heat capacity.

The forms and constants are those of H. G. Schwartzberg, "Modeling bean heating during batch roasting of coffee
beans", in Welti-Chanes, Barbosa-Cánovas, Aguilera (eds), *Engineering and Food for the 21st Century*, CRC Press,
2002, **from memory**: the chapter itself was not seen. The only evidence for them is that they give a plausible roast
along a prescribed bean curve (`tests/golden/plausibility_run.csv`).

Masses are per kg of dry solid as charged; ``moisture`` is kg of water per kg of dry solid (dry basis).
"""

from math import exp

KELVIN = 273.15

# From memory, see above.
CAPACITY_DRY = 1.099  # [kJ/(kg dry·K)] at 0 °C
CAPACITY_PER_C = 0.0070  # [kJ/(kg dry·K²)]
CAPACITY_WATER = 5.0  # [kJ/(kg water·K)], with the heat of desorption lumped in
DRYING_FACTOR = 4.32e9  # [mm²/s]
DRYING_K = 9889.0  # activation temperature [K], about 82 kJ/mol
REACTION_FACTOR = 116_200.0  # [kW/kg dry]
REACTION_K = 5500.0  # activation temperature [K], about 46 kJ/mol
REACTION_TOTAL = 232.0  # total heat of the reactions [kJ/kg dry]
LATENT_HEAT = 2790.0  # of evaporation and desorption [kJ/kg water]


def dry_basis(moisture_wet: float) -> float:
    """Water per kg of dry solid, from the share of water in the moist bean."""
    return moisture_wet / (1.0 - moisture_wet)


def heat_capacity(bean_c: float, moisture: float) -> float:
    """Heat capacity of beans with 1 kg of dry solid. [kJ/K]

    Divide by ``1 + moisture`` for the heat capacity per kg of moist bean.
    """
    return CAPACITY_DRY + CAPACITY_PER_C * bean_c + CAPACITY_WATER * moisture


def heat_content(bean_c: float, moisture: float) -> float:
    """Sensible heat above 0 °C of beans with 1 kg of dry solid: the integral of `heat_capacity`. [kJ]"""
    return (CAPACITY_DRY + 0.5 * CAPACITY_PER_C * bean_c + CAPACITY_WATER * moisture) * bean_c


def drying_rate(bean_c: float, moisture: float, *, bean_mm: float, factor: float = 1.0) -> float:
    """Drying rate of the bean; never negative. [kg water/(kg dry·s)]

    Parameters
    ----------
    bean_c
        Bean temperature. [°C]
    moisture
        Water content, dry basis. [kg/kg dry]
    bean_mm
        Bean diameter. [mm]
    factor
        Multiplier of the rate constant, to fit a coffee's weighed batches.
    """
    return factor * DRYING_FACTOR * moisture * moisture / (bean_mm * bean_mm) * exp(-DRYING_K / (bean_c + KELVIN))


def reaction_heat(bean_c: float, released: float, *, total: float = REACTION_TOTAL) -> float:
    """Heat flow of the roasting reactions. [kW/kg dry]

    Parameters
    ----------
    bean_c
        Bean temperature. [°C]
    released
        Heat released so far. [kJ/kg dry]
    total
        Total heat of the reactions; 0 for a coffee without reactions. [kJ/kg dry]
    """
    if released >= total:
        return 0.0
    return REACTION_FACTOR * exp(-REACTION_K / (bean_c + KELVIN)) * (total - released) / total
