"""Phrases that several kinds of entries share: numbers, masses, corrected fields."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from roastlog.languages import N_, _, joined, numeral

_FIELDS: Final = {
    "lot": N_("lot"),
    "coffee": N_("coffee"),
    "green_g": N_("green weight"),
    "intent": N_("for"),
    "plan": N_("plan"),
    "guide": N_("guide"),
    "origin": N_("origin"),
    "process": N_("process"),
    "altitude": N_("grown at"),
    "harvest": N_("picked"),
    "price": N_("price"),
    "note": N_("note"),
    "arrived": N_("arrived"),
    "cup": N_("cup notes"),
    "supplier": N_("supplier"),
    "reference": N_("reference"),
    "sacks": N_("sacks"),
    "currency": N_("currency"),
    "price_per_kg": N_("price per kg"),
    "landed_per_kg": N_("landed cost per kg"),
    "place": N_("place"),
    "lead_days": N_("days from order to arrival"),
    "harvested": N_("end of harvest"),
    "moisture_percent": N_("moisture"),
    "water_activity": N_("water activity"),
    "density_g_l": N_("density"),
}


def plain(value: object) -> str:
    """A value as text: 4.0 is “4”, 3.5 is “3.5”; a list is joined by commas; None is empty."""
    if isinstance(value, list | tuple):
        return joined(", ", map(plain, value))
    return numeral(value) if isinstance(value, float) else "" if value is None else str(value)


def grams(mass_g: float) -> str:
    """A mass in grams, with a space between the thousands."""
    return f"{mass_g:,.0f} g".replace(",", "\u202f")


def field_text(name: str, value: object, words: Mapping[str, Callable[[Any], str]]) -> str:
    """One corrected field in words; ``words`` has a function for each field that is not a plain value."""
    label = _(_FIELDS[name]) if name in _FIELDS else name.replace("_", " ")
    text = words[name](value) if name in words else plain(value)
    return joined(" ", [label, text]) if text else _("no {label}", label=label)
