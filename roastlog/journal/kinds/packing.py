"""Kinds about blends of roasted coffee, and packs: bags filled in one go."""

from collections.abc import Mapping
from typing import Annotated, Any, Final

from pydantic import Field

from roastlog.journal.kinds.base import MAX_BATCH_G, Body, Date, Kind, Line, Short, Telling
from roastlog.journal.phrases import grams
from roastlog.journal.subject import BLEND, PACK
from roastlog.languages import _, joined

Weights = Annotated[list[Annotated[float, Field(gt=0, le=MAX_BATCH_G)]], Field(min_length=1, max_length=200)]


class Part(Body):
    """Grams out of the loose coffee of a batch or a blend."""

    batch: Annotated[Short, Field(description="code of a batch or of a blend")]
    grams: Annotated[int, Field(gt=0, le=int(MAX_BATCH_G))]


Parts = Annotated[list[Part], Field(min_length=1, max_length=40)]


class Blended(Body):
    """Loose coffee of several batches mixed into one."""

    parts: Parts
    product: Short | None = None


class Packed(Body):
    """Bags of one size filled in one go. What they hold above their nominal weight is given away."""

    parts: Parts
    bag_g: Annotated[int, Field(gt=0, le=100_000, description="nominal weight of a bag, g")]
    count: Annotated[int, Field(ge=1, le=100_000)]
    product: Short | None = None
    packaging: Line | None = None
    best_before: Date | None = None
    best_before_rule: Annotated[Line | None, Field(description="the rule that gave the date, and why")] = None
    weights_g: Annotated[Weights | None, Field(description="net weights of the bags that were checked, g")] = None


def _sources(body: Mapping[str, Any]) -> str:
    return joined(", ", [joined(" ", [grams(part["grams"]), part["batch"]]) for part in body["parts"]])


def _blended(body: Mapping[str, Any], _telling: Telling) -> str:
    return _("Blended {sources}", sources=_sources(body))


def _packed(body: Mapping[str, Any], _telling: Telling) -> str:
    return _(
        "Packed {count} × {size} from {sources}", count=body["count"], size=grams(body["bag_g"]), sources=_sources(body)
    )


KINDS: Final = (
    Kind("blended", (BLEND,), Blended, "operate", _blended, pages=("packing",)),
    Kind("packed", (PACK,), Packed, "operate", _packed, pages=("packing",)),
)
