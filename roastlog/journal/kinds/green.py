"""Kinds about a lot of green coffee."""

from collections.abc import Mapping
from typing import Annotated, Any, Final

from pydantic import Field

from roastlog.journal.kinds.base import Body, Kind, Line, Telling, Text
from roastlog.journal.subject import LOT
from roastlog.languages import _, joined, numeral


class Arrived(Body):
    """The arrival of a lot: its coffee, its weight and its facts. Later changes are corrections."""

    coffee: Line
    green_g: Annotated[float, Field(ge=0, le=1e9, description="as bought, g")]
    origin: Text | None = None
    process: Text | None = None
    altitude: Text | None = None
    harvest: Text | None = None
    arrived: Text | None = None
    cup: Text | None = None
    price: Text | None = None
    note: Text | None = None


def _arrived(body: Mapping[str, Any], _telling: Telling) -> str:
    mass = joined(" ", [numeral(body["green_g"] / 1000, ".1f"), "kg"])
    return joined(" · ", [_("Lot arrived"), str(body["coffee"]), mass])


KINDS: Final = (Kind("arrived", (LOT,), Arrived, "decide", _arrived, pages=("lots",), confidential=("price",)),)
