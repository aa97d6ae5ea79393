"""Kinds about a lot of green coffee: its arrival, its checks, and the decision on it."""

from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal
from uuid import UUID

from pydantic import Field, StringConstraints, model_validator

from roastlog.journal.kinds.base import Body, Kind, Line, Telling, Text
from roastlog.journal.phrases import plain
from roastlog.journal.subject import LOT
from roastlog.journal.vocabulary import PAPER_WORDS, Defect, Papers, called
from roastlog.languages import N_, _, joined, numeral, translate

MAX_LOT_G: Final = 1e9
_DECISIONS: Final = {"accept": N_("Accepted"), "hold": N_("Held back"), "reject": N_("Rejected")}
Percent = Annotated[float, Field(ge=0, le=100)]
Beans = Annotated[int, Field(ge=0, le=10_000)]
Price = Annotated[float, Field(ge=0, le=1e6)]
Month = Annotated[str, StringConstraints(pattern=r"^\d{4}-(0[1-9]|1[0-2])$")]
Currency = Annotated[str, StringConstraints(strip_whitespace=True, to_upper=True, pattern=r"^[A-Za-z]{3}$")]


class Arrived(Body):
    """The arrival of a lot: its coffee, its weight and its facts. Later changes are corrections."""

    coffee: Line
    green_g: Annotated[float, Field(ge=0, le=MAX_LOT_G, description="as bought, g")]
    origin: Text | None = None
    process: Text | None = None
    altitude: Text | None = None
    harvest: Text | None = None
    arrived: Text | None = None
    cup: Text | None = None
    price: Text | None = None
    note: Text | None = None
    supplier: Line | None = None
    reference: Annotated[Line | None, Field(description="number of the invoice or contract")] = None
    sacks: Annotated[int, Field(ge=1, le=100_000)] | None = None
    currency: Annotated[Currency | None, Field(description="three letters of ISO 4217")] = None
    price_per_kg: Annotated[Price | None, Field(description="as bought, in the currency")] = None
    landed_per_kg: Annotated[Price | None, Field(description="with freight, duty and the like, in the currency")] = None
    place: Annotated[Line | None, Field(description="where it is stored")] = None
    lead_days: Annotated[int | None, Field(ge=0, le=730, description="from an order to the next arrival")] = None
    harvested: Annotated[Month | None, Field(description="last month of its harvest, as 2026-07")] = None


class Checked(Body):
    """Figures of an intake check, or of a later one. Each field may be left out; one is needed."""

    moisture_percent: Annotated[Percent | None, Field(description="of the wet weight")] = None
    water_activity: Annotated[float, Field(ge=0, le=1)] | None = None
    density_g_l: Annotated[float | None, Field(gt=0, le=2000, description="by a fixed volume, g/l")] = None
    volume_ml: Annotated[float | None, Field(gt=0, le=10_000, description="that volume")] = None
    screen_percent: Annotated[Percent | None, Field(description="at or above the screen that was ordered")] = None
    screen: Annotated[int | None, Field(ge=8, le=22, description="that screen, in 64ths of an inch")] = None
    screen_ordered_percent: Annotated[Percent | None, Field(description="as the contract says, of that screen")] = None
    sample_g: Annotated[float | None, Field(gt=0, le=10_000, description="in which defects were counted")] = None
    defects: Annotated[dict[Defect, Beans] | None, Field(description="affected beans by kind")] = None
    quakers: Annotated[int | None, Field(ge=0, le=1000, description="in 100 g roasted")] = None
    note: Text | None = None

    @model_validator(mode="after")
    def _says_something(self) -> "Checked":
        if not self.model_dump(exclude_none=True):
            raise ValueError("a check needs at least one figure or a note")
        return self


class Decided(Body):
    """The decision to accept, hold or reject a lot."""

    decision: Literal["accept", "hold", "reject"]
    reason: Text | None = None


class Filed(Body):
    """A file that is kept with a lot: a picture or a PDF, sent apart under this name."""

    name: UUID
    what: Papers
    title: Line | None = None


def _arrived(body: Mapping[str, Any], _telling: Telling) -> str:
    mass = joined(" ", [numeral(body["green_g"] / 1000, ".1f"), "kg"])
    return joined(" · ", [_("Lot arrived"), str(body["coffee"]), mass])


def _checked(body: Mapping[str, Any], _telling: Telling) -> str:
    parts = [_("Checked")]
    if "moisture_percent" in body:
        parts.append(_("moisture {percent} %", percent=plain(body["moisture_percent"])))
    if "water_activity" in body:
        parts.append(_("water activity {value}", value=plain(body["water_activity"])))
    if "density_g_l" in body:
        parts.append(_("density {value} g/l", value=plain(body["density_g_l"])))
    if "screen_percent" in body:
        parts.append(_("screen {percent} %", percent=plain(body["screen_percent"])))
    parts += [joined(" ", [str(count), called(name)]) for name, count in body.get("defects", {}).items()]
    if "quakers" in body:
        parts.append(_("quakers {count}", count=body["quakers"]))
    return joined(" · ", [*parts, *([body["note"]] if "note" in body else [])])


def _decided(body: Mapping[str, Any], _telling: Telling) -> str:
    return joined(": ", [translate(_DECISIONS[body["decision"]]), *([body["reason"]] if "reason" in body else [])])


def _filed(body: Mapping[str, Any], _telling: Telling) -> str:
    paper = translate(PAPER_WORDS[body["what"]])
    return joined(": ", [_("Filed"), joined(", ", [paper, *([body["title"]] if "title" in body else [])])])


KINDS: Final = (
    Kind(
        "arrived",
        (LOT,),
        Arrived,
        "decide",
        _arrived,
        pages=("lots",),
        confidential=("price", "price_per_kg", "landed_per_kg"),
    ),
    Kind("checked", (LOT,), Checked, "operate", _checked, pages=("lots",)),
    Kind("decided", (LOT,), Decided, "decide", _decided, pages=("lots",)),
    Kind("filed", (LOT,), Filed, "operate", _filed, pages=("lots",)),
)
