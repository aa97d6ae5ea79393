"""Kinds about the house: its settings, and the people who roast in it; and the erasure of names."""

from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal

from pydantic import StringConstraints, model_validator

from roastlog.journal.kinds.base import Body, Kind, Line, Telling
from roastlog.journal.phrases import plain
from roastlog.journal.subject import CUSTOMER, HOUSE, PERSON
from roastlog.languages import _, joined

LIMITS: Final[Mapping[str, tuple[float, float]]] = {
    "best_before_days": (0, 3650),
    "green_lead_days": (0, 730),
    "area_base_c": (0.0, 250.0),
    "crash_c_per_min": (0.5, 30.0),
    "rebound_c_per_min": (0.5, 30.0),
    "stall_c_per_min": (0.1, 10.0),
    "fast_crack_c_per_min": (1.0, 60.0),
    "probe_jump_c": (1.0, 100.0),
    "probe_low_c": (-100.0, 50.0),
    "probe_high_c": (200.0, 1500.0),
    "probe_stuck_s": (5.0, 600.0),
    "probe_missing_s": (3.0, 600.0),
}
"""Lowest and highest value of each numeric setting."""

_Plain = Annotated[str, StringConstraints(max_length=2000)]


class Set(Body):
    """Changed settings of the house, by name; all others stay as they are."""

    business: _Plain | None = None
    url_base: _Plain | None = None
    units_temp: Literal["C", "F"] | None = None
    units_mass: Literal["kg", "lb"] | None = None
    best_before_days: int | None = None
    green_lead_days: int | None = None
    quick_notes: _Plain | None = None
    bag_shows_weights: bool | None = None
    bag_shows_people: bool | None = None
    bag_shows_photos: bool | None = None
    area_base_c: float | None = None
    crash_c_per_min: float | None = None
    rebound_c_per_min: float | None = None
    stall_c_per_min: float | None = None
    fast_crack_c_per_min: float | None = None
    probe_jump_c: float | None = None
    probe_low_c: float | None = None
    probe_high_c: float | None = None
    probe_stuck_s: float | None = None
    probe_missing_s: float | None = None

    @model_validator(mode="after")
    def _within_limits(self) -> "Set":
        for name, (low, high) in LIMITS.items():
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise ValueError(f"{name} is from {low:g} to {high:g}")
        return self


class Named(Body):
    """The name of a person who roasts here, and the name shown on bags."""

    name: Line
    shown: Line


class Erased(Body):
    """The erasure of the names of a person or a customer, everywhere."""


def _set(body: Mapping[str, Any], _telling: Telling) -> str:
    changes = joined(", ", [joined(" ", [name, plain(value) or "“”"]) for name, value in body.items()])
    return _("Settings: {changes}", changes=changes)


def _named(body: Mapping[str, Any], _telling: Telling) -> str:
    if "name" not in body:
        return _("A person whose name is erased")
    return _("{name}, on bags {shown}", name=body["name"], shown=body["shown"])


KINDS: Final = (
    Kind("set", (HOUSE,), Set, "own", _set, pages=("settings",)),
    Kind("named", (PERSON,), Named, "own", _named, pages=("settings",), erasable=("name", "shown")),
    Kind("erased", (PERSON, CUSTOMER), Erased, "own", lambda _body, _telling: _("Names erased")),
)
