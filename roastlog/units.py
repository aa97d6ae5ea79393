"""Unit conversion at the edges: °F and °C, lb and g. Internally, temperatures are °C and masses are grams."""

G_PER_LB = 453.59237  # the international pound, exact by definition
G_PER_OZ = G_PER_LB / 16


def c_from_f(temp_f: float) -> float:
    """Temperature in °C of a temperature in °F."""
    return (temp_f - 32.0) / 1.8


def f_from_c(temp_c: float) -> float:
    """Temperature in °F of a temperature in °C."""
    return temp_c * 1.8 + 32.0


def rate_f_from_c(rate_c_per_min: float) -> float:
    """Rate in °F/min of a rate in °C/min: differences have no offset."""
    return rate_c_per_min * 1.8


def rate_c_from_f(rate_f_per_min: float) -> float:
    """Rate in °C/min of a rate in °F/min."""
    return rate_f_per_min / 1.8


def lb_from_g(mass_g: float) -> float:
    """Mass in pounds of a mass in grams."""
    return mass_g / G_PER_LB


def clock_text(time_s: float) -> str:
    """Minutes and seconds as on a stopwatch: 522.4 is ``8:42``, -5 is ``-0:05``."""
    whole_s = int(abs(time_s))
    sign = "-" if time_s <= -1 else ""
    return f"{sign}{whole_s // 60}:{whole_s % 60:02d}"
