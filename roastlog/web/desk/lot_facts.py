"""The facts of a lot as its form shows and reads them."""

import re
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from roastlog.journal.kinds.green import MAX_LOT_G, Arrived
from roastlog.languages import N_, _, decimal
from roastlog.units import lb_from_g
from roastlog.web.http.formatting import HARD_SPACE, number
from roastlog.web.http.forms import FIELDS, GRAMS, Form, ask_once

LEAST_G: Final = 1_000.0
MOST_G: Final = 50_000_000.0
"""Lots smaller or larger than this are asked about once: grams were typed as kilograms, or the other way."""
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")
_MONTH: Final = re.compile(r"\d{4}-(0[1-9]|1[0-2])")


@dataclass(frozen=True)
class Fact:
    """A field of the form: its name in the entry, label and hint, and how it is typed."""

    name: str
    label: str
    hint: str = ""
    typed: str = "text"
    mode: str = "text"
    unit: str = ""
    longest: int = 200
    required: bool = False


COFFEE: Final = (
    Fact("coffee", N_("Coffee"), required=True),
    Fact("origin", N_("Grown at")),
    Fact("process", N_("Process")),
    Fact("altitude", N_("Altitude")),
    Fact("harvest", N_("Harvest"), N_("Such as May to July 2026.")),
    Fact("harvested", N_("Last month of the harvest"), N_("Its age is counted from here."), typed="month"),
    Fact("cup", N_("Cup notes")),
)
ARRIVAL: Final = (
    Fact("bought", N_("Weight bought"), mode="decimal", longest=20, required=True),
    Fact("sacks", N_("Sacks"), mode="numeric", longest=6),
    Fact("arrived", N_("Arrived"), typed="date"),
    Fact("supplier", N_("Supplier")),
    Fact("reference", N_("Invoice or contract")),
    Fact("place", N_("Storage place")),
    Fact("lead_days", N_("Days from order to arrival"), N_("Empty: those of Settings."), mode="numeric", longest=4),
    Fact("note", N_("Note"), longest=2000),
)
PRICE: Final = (
    Fact("currency", N_("Currency"), N_("Three letters, such as EUR."), longest=3),
    Fact("price_per_kg", N_("Price per kg"), mode="decimal", longest=12),
    Fact("landed_per_kg", N_("Landed cost per kg"), N_("With freight, duty and the like."), mode="decimal", longest=12),
    Fact("price", N_("Price in words")),
)
LABELS: Final = {fact.name: fact.label for fact in (*COFFEE, *ARRIVAL, *PRICE)}


def groups(*, prices: bool) -> Mapping[str, Collection[Fact]]:
    """The fields by the title of their group; prices only for those who may see them."""
    return {N_("The coffee"): COFFEE, N_("Its arrival"): ARRIVAL, **({N_("Price"): PRICE} if prices else {})}


def form_of(values: Mapping[str, str]) -> Form:
    """A form of facts, with the names of its fields."""
    return Form(values, FIELDS | LABELS)


def shown(facts: Arrived, unit: str) -> dict[str, str]:
    """The facts as the form shows them, in the page's unit of mass."""
    values = {name: _text(value) for name, value in facts.model_dump().items()}
    large = facts.green_g / 1000 if unit == "kg" else lb_from_g(facts.green_g)
    return values | {"bought": decimal(f"{round(large, 3):.12g}")}


def typed(form: Form, names: Iterable[str], unit: str, today: date) -> dict[str, Any]:
    """The facts of the form, None where a field is empty; what cannot be read goes to ``form.errors``."""
    body: dict[str, Any] = {}
    for name in names:
        body[name] = _READ[name](form) if name in _READ else form.text(name, longest=_LONGEST[name])
    if body.pop("bought", "absent") is None:
        body["green_g"] = _bought_g(form, unit)
    if "coffee" in body and body["coffee"] is None:
        form.errors.setdefault("coffee", _("Coffee is required."))
    if body.get("arrived") and date.fromisoformat(body["arrived"]) > today + timedelta(days=1):
        form.errors["arrived"] = _("This day has not come yet. Enter a lot on the day when it arrives.")
    return body


def check_together(form: Form, facts: Mapping[str, Any]) -> None:
    """Find facts that contradict each other; the sentence goes to ``form.errors``."""
    arrived, harvested = facts.get("arrived") or "", facts.get("harvested")
    if harvested and _DAY.fullmatch(arrived) and arrived[:7] < harvested:
        form.errors.setdefault(
            "arrived",
            _(
                "Arrived {arrived}, before its harvest in {harvested}. Correct one.",
                arrived=arrived,
                harvested=harvested,
            ),
        )
    if facts.get("currency") is None and (facts.get("price_per_kg"), facts.get("landed_per_kg")) != (None, None):
        form.errors.setdefault("currency", _("A price needs its currency, three letters such as EUR."))


def ask_about_mass(form: Form, name: str, mass_g: float, unit: str, *, least_g: float, most_g: float) -> None:
    """Ask once about a mass that looks like grams typed as kilograms, or the other way."""
    if least_g <= mass_g <= most_g:
        return
    meant_g = mass_g / 1000 if mass_g > most_g else mass_g * 1000
    factor = GRAMS[unit]
    ask_once(
        form,
        name,
        _(
            "{typed} is {what} than expected. Did you mean {meant}? Correct it, or save again to keep it.",
            typed=f"{number(mass_g / factor, 3).rstrip('0').rstrip('.,')}{HARD_SPACE}{unit}",
            what=_("much more") if mass_g > most_g else _("much less"),
            meant=f"{number(meant_g / factor, 3).rstrip('0').rstrip('.,')}{HARD_SPACE}{unit}",
        ),
    )


def whole(form: Form, name: str, low: int, high: int) -> int | None:
    """A whole number within a range."""
    value = within(form, name, low, high)
    if value is not None and value != int(value):
        form.errors[name] = _("{field} must be a whole number.", field=_(LABELS.get(name, name)))
        return None
    return None if value is None else int(value)


def within(form: Form, name: str, low: float, high: float, label: str = "") -> float | None:
    """A number within a range."""
    value = form.number(name)
    if value is not None and not low <= value <= high:
        form.errors[name] = _(
            "{field} must be {low} to {high}, not {typed}.",
            field=label or _(LABELS.get(name, name)),
            low=decimal(f"{low:g}"),
            high=number(high),
            typed=decimal(f"{value:g}"),
        )
        return None
    return value


def _bought_g(form: Form, unit: str) -> float | None:
    bought_g = form.mass_g("bought", unit, most_g=MAX_LOT_G)
    if bought_g is None or bought_g <= 0:
        form.errors.setdefault("bought", _("Weight bought is required."))
        return None
    ask_about_mass(form, "bought", bought_g, unit, least_g=LEAST_G, most_g=MOST_G)
    return bought_g


def _date(form: Form) -> str | None:
    text = form.text("arrived")
    try:
        return None if text is None else date.fromisoformat(text).isoformat()
    except ValueError:
        form.errors["arrived"] = _("“{text}” is no date. Type it as 2026-11-28.", text=text)
        return None


def _month(form: Form) -> str | None:
    text = form.text("harvested")
    if text is None or _MONTH.fullmatch(text):
        return text
    form.errors["harvested"] = _("“{text}” is no month. Type it as 2026-07.", text=text)
    return None


def _currency(form: Form) -> str | None:
    text = form.text("currency", longest=40)
    if text is None or re.fullmatch("[A-Za-z]{3}", text):
        return None if text is None else text.upper()
    form.errors["currency"] = _("Currency must be three letters, such as EUR, not “{text}”.", text=text)
    return None


def _text(value: object) -> str:
    if value is None:
        return ""
    return decimal(f"{value:.12g}") if isinstance(value, float) else str(value)


_LONGEST: Final = {fact.name: fact.longest for fact in (*COFFEE, *ARRIVAL, *PRICE)}
_READ: Final[Mapping[str, Callable[[Form], Any]]] = {
    "bought": lambda _form: None,  # by `_bought_g`, which needs the unit
    "arrived": _date,
    "harvested": _month,
    "currency": _currency,
    "sacks": lambda form: whole(form, "sacks", 1, 100_000),
    "lead_days": lambda form: whole(form, "lead_days", 0, 730),
    "price_per_kg": lambda form: within(form, "price_per_kg", 0, 1e6),
    "landed_per_kg": lambda form: within(form, "landed_per_kg", 0, 1e6),
}
