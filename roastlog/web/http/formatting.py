"""Formatting of values on pages, in the roastery's units and local time.

All other code uses °C, grams, seconds and UTC milliseconds; these Jinja filters convert them.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from flask import Flask, g

from roastlog.journal import vocabulary as words
from roastlog.journal.vocabulary import purpose
from roastlog.languages import N_, _, date, decimal, ngettext
from roastlog.services.devices import ROLE_WORDS
from roastlog.units import clock_text, f_from_c, lb_from_g, rate_f_from_c
from roastlog.web import services

NOTHING: Final = "–"
THIN_SPACE: Final = "\N{NARROW NO-BREAK SPACE}"
HARD_SPACE: Final = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True)
class Units:
    """The units of pages: ``C`` or ``F``, ``kg`` or ``lb``."""

    temp: str = "C"
    mass: str = "kg"


def number(value: float, decimals: int = 0) -> str:
    """A plain number with thin spaces between thousands and a true minus: 3432.0 is ``3 432``."""
    value = round(value, decimals) + 0.0  # the sum turns a negative zero into a plain one
    text = f"{value:,.{decimals}f}".replace(",", THIN_SPACE)
    return decimal(text.replace("-", "−"))


def temp(temp_c: float | None, units: Units) -> str:
    """A temperature with its unit: ``183.6 °C``."""
    if temp_c is None:
        return NOTHING
    return f"{number(temp_c if units.temp == 'C' else f_from_c(temp_c), 1)}{HARD_SPACE}°{units.temp}"


def degrees(temp_c: float | None, units: Units) -> str:
    """A temperature where the context gives its unit: ``183.6°``."""
    return temp(temp_c, units).replace(f"{HARD_SPACE}°{units.temp}", "°")


def rate(rate_c_per_min: float | None, units: Units) -> str:
    """A rate of rise with its unit: ``9.8 °C/min``."""
    if rate_c_per_min is None:
        return NOTHING
    value = rate_c_per_min if units.temp == "C" else rate_f_from_c(rate_c_per_min)
    return f"{number(value, 1)}{HARD_SPACE}°{units.temp}/min"


def rate_number(rate_c_per_min: float | None, units: Units) -> str:
    """A rate of rise where the context gives its unit: ``9.8``."""
    return rate(rate_c_per_min, units).split(HARD_SPACE)[0]


def rate_error(error_c_per_min: float | None, units: Units) -> str:
    """The standard error of a rate, to follow it: ``± 0.3``; at least one unit of the last digit shown."""
    if error_c_per_min is None:
        return ""
    value = error_c_per_min if units.temp == "C" else rate_f_from_c(error_c_per_min)
    return f"±{HARD_SPACE}{number(max(value, 0.1), 1)}"


def area_number(area_c_min: float | None, units: Units) -> str:
    """An area under a curve, where the context gives its unit, °C·min or °F·min: ``254``."""
    if area_c_min is None:
        return NOTHING
    return number(area_c_min if units.temp == "C" else rate_f_from_c(area_c_min))  # as for a rate, without an offset


def mass(mass_g: float | None, units: Units) -> str:
    """A mass as a scale shows it: ``3 432 g`` or ``7.57 lb``."""
    if mass_g is None:
        return NOTHING
    if units.mass == "lb":
        return f"{number(lb_from_g(mass_g), 2)}{HARD_SPACE}lb"
    return f"{number(mass_g)}{HARD_SPACE}g"


def kilos(mass_g: float | None, units: Units) -> str:
    """A mass in large units: ``4.0 kg`` or ``8.8 lb``."""
    if mass_g is None:
        return NOTHING
    value = mass_g / 1000 if units.mass == "kg" else lb_from_g(mass_g)
    return f"{number(value, 1)}{HARD_SPACE}{units.mass}"


def clock(time_s: float | None) -> str:
    """Minutes and seconds: ``8:42``."""
    return NOTHING if time_s is None else clock_text(time_s).replace("-", "−")


def time_error(error_s: float | None) -> str:
    """The standard error of a time, to follow it: ``± 1 s``; at least one second."""
    return "" if error_s is None else f"±{HARD_SPACE}{number(max(error_s, 1.0))}{HARD_SPACE}s"


def share(ratio: float | None, decimals: int = 1) -> str:
    """A share in per cent: 0.142 is ``14.2 %``."""
    return NOTHING if ratio is None else f"{number(ratio * 100, decimals)}{HARD_SPACE}%"


def percent(value: float | None, decimals: int = 1) -> str:
    """A value in per cent: 11.2 is ``11.2 %``."""
    return NOTHING if value is None else f"{number(value, decimals)}{HARD_SPACE}%"


def signed(value: float, decimals: int = 1) -> str:
    """A change with its sign: ``+0.4``, ``−0.6``."""
    text = number(value, decimals)
    return f"+{text}" if round(value, decimals) > 0 else text


def signed_mass(mass_g: float | None, units: Units) -> str:
    """A change of a mass with its sign: ``−200 g``."""
    return f"+{mass(mass_g, units)}" if mass_g is not None and mass_g > 0 else mass(mass_g, units)


def price(amount: float, currency: str | None) -> str:
    """An amount of money with its currency, or without one if it is unknown: ``7.84 EUR``."""
    return f"{number(amount, 2)}{HARD_SPACE}{currency}" if currency else number(amount, 2)


def days(count: float) -> str:
    """A number of whole days: ``21 days``, ``under 1 day``."""
    whole = math.floor(count)
    return _("under 1 day") if whole < 1 else ngettext("{count} day", "{count} days", whole, count=number(whole))


def months(count: float) -> str:
    """An age: ``4 months``, or ``12 days`` below one month."""
    if count < 1:
        return ngettext("{count} day", "{count} days", round(count * 30.44), count=round(count * 30.44))
    return ngettext("{count} month", "{count} months", math.floor(count), count=math.floor(count))


def local(at_ms: int) -> datetime:
    """A UTC time as local time of the server. [ms UTC]"""
    return datetime.fromtimestamp(at_ms / 1000, tz=UTC).astimezone()


def day(at_ms: int | None) -> str:
    """A date in full: ``25 November 2026``."""
    return NOTHING if at_ms is None else day_of(local(at_ms))


def day_of(when: datetime) -> str:
    """The date in full of a local time."""
    return date(when, f"{when.day} {when:%B %Y}", "long")


def short_day(at_ms: int | None) -> str:
    """A date at a glance: ``Wed 25 Nov``."""
    if at_ms is None:
        return NOTHING
    when = local(at_ms)
    return date(when, f"{when:%a} {when.day} {when:%b}", "MMMEd")


def hour(at_ms: int | None) -> str:
    """A time of day: ``13:02``."""
    return NOTHING if at_ms is None else f"{local(at_ms):%H:%M}"


def hour_s(at_ms: int | None) -> str:
    """A time of day to the second: ``13:02:09``."""
    return NOTHING if at_ms is None else f"{local(at_ms):%H:%M:%S}"


def moment(at_ms: int | None) -> str:
    """A day and a time: ``Wed 25 Nov 13:02``."""
    return NOTHING if at_ms is None else f"{short_day(at_ms)} {hour(at_ms)}"


_CALLED: Final = {role.word: said for role, said in ROLE_WORDS.items()} | {
    "channels": N_("channels"),
    "controls": N_("controls"),
}


def called(word: str) -> str:
    """The label of a stored word, or of a word in an address, in the page's language; other words unchanged."""
    return _(_CALLED[word]) if word in _CALLED else words.called(word)


def page_units() -> Units:
    """The units of this request's page, from the settings; read once per request."""
    if "units" not in g:
        settings = services().settings.current()
        g.units = Units(settings.units_temp, settings.units_mass)
    found: Units = g.units
    return found


def install(app: Flask) -> None:
    """Register these filters with the app's templates."""
    for with_units in (temp, degrees, rate, rate_number, rate_error, area_number, mass, kilos, signed_mass):
        app.add_template_filter(_in_units(with_units), with_units.__name__)
    for plain in (
        number,
        clock,
        time_error,
        share,
        percent,
        signed,
        price,
        days,
        months,
        day,
        short_day,
        hour,
        hour_s,
        moment,
        purpose,
        called,
        decimal,
        day_of,
    ):
        app.add_template_filter(plain, plain.__name__)


def _in_units(write: Callable[[float | None, Units], str]) -> Callable[[float | None], str]:
    return lambda value: write(value, page_units())
