"""Heat transfer to the beans by air flow and by radiation."""

from math import exp

from roastlog.physics.chemistry import KELVIN

STEFAN_BOLTZMANN = 5.670374419e-11  # exact since 2019, here in [kW/(m²·K⁴)]
AIR_CAPACITY = 1.02  # of dry air near 200 °C [kJ/(kg·K)], from memory


def exchange_heat(
    inlet_c: float, capacity_flow: float, sinks: tuple[tuple[float, float], tuple[float, float]]
) -> tuple[float, float, float]:
    """Heat exchange of an air flow with two sinks at once.

    Along its path x from 0 to 1 the air obeys ``C dT/dx = -U1 (T - T1) - U2 (T - T2)``. With ``U = U1 + U2`` and
    ``T* = (U1 T1 + U2 T2) / U`` that is ``C dT/dx = -U (T - T*)``, so ``T = T* + (Tin - T*) exp(-NTU x)``,
    ``NTU = U / C``. Its mean over the path is ``T* + (Tin - T*) (1 - exp(-NTU)) / NTU``; each sink receives
    ``Ui (mean - Ti)``, and the two sum to ``C (Tin - Tout)``.

    Parameters
    ----------
    inlet_c
        Inlet temperature of the air. [°C]
    capacity_flow
        Mass flow times heat capacity, above 0. [kW/K]
    sinks
        Conductance to the air [kW/K] and temperature [°C] of each sink; at least one conductance is above 0.

    Returns
    -------
    tuple of float
        Outlet temperature of the air [°C]; heat flow to the first and to the second sink [kW].
    """
    (u1, t1_c), (u2, t2_c) = sinks
    both = u1 + u2
    rest_c = (u1 * t1_c + u2 * t2_c) / both
    ntu = both / capacity_flow
    kept = exp(-ntu)
    mean_c = rest_c + (inlet_c - rest_c) * (1.0 - kept) / ntu
    return rest_c + (inlet_c - rest_c) * kept, u1 * (mean_c - t1_c), u2 * (mean_c - t2_c)


def radiant_heat(from_c: float, to_c: float, area_m2: float) -> float:
    """Net radiant heat flow from one grey surface to another. [kW]

    Parameters
    ----------
    from_c, to_c
        Temperatures of the two surfaces. [°C]
    area_m2
        Area of the first, times view factor and emissivities. [m²]
    """
    return STEFAN_BOLTZMANN * area_m2 * ((from_c + KELVIN) ** 4 - (to_c + KELVIN) ** 4)
