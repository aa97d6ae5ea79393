"""Kinds about stock, green, loose or packed: its counts, what is taken and not sold, and its end."""

from collections.abc import Mapping
from typing import Annotated, Any, Final

from pydantic import Field, model_validator

from roastlog.journal.kinds.base import Body, Kind, Telling, Text
from roastlog.journal.phrases import grams
from roastlog.journal.subject import BATCH, BLEND, LOT, PACK, PRODUCT
from roastlog.journal.vocabulary import TAKEN_WORDS, TakenFor
from roastlog.languages import _, joined, ngettext, translate

STOCKED: Final = (LOT, BATCH, BLEND, PACK)
Mass = Annotated[float, Field(ge=0, le=1e9, description="g")]
Bags = Annotated[int, Field(ge=0, le=1_000_000, description="bags of a pack")]


class _Amount(Body):
    """An amount of stock: grams, or for a pack its bags."""

    grams: Mass | None = None
    bags: Bags | None = None

    @model_validator(mode="after")
    def _one_of_both(self) -> "_Amount":
        if (self.grams is None) == (self.bags is None):
            raise ValueError("give either grams or, for a pack, bags")
        return self


class Counted(_Amount):
    """The stock as it was weighed or counted; the books follow it from then on."""

    note: Text | None = None


class Taken(_Amount):
    """Stock that was taken and not sold."""

    why: TakenFor
    note: Text | None = None


class Closed(Body):
    """A lot is used up, or a product no longer sold: lists leave it out, and what was made of it keeps it."""

    reason: Text | None = None


def _amount(body: Mapping[str, Any]) -> str:
    if "bags" in body:
        return ngettext("{count} bag", "{count} bags", body["bags"], count=body["bags"])
    return grams(body["grams"])


def _with_note(text: str, body: Mapping[str, Any]) -> str:
    return joined(": ", [text, *([body["note"]] if "note" in body else [])])


def _counted(body: Mapping[str, Any], _telling: Telling) -> str:
    return _with_note(_("Counted {amount}", amount=_amount(body)), body)


def _taken(body: Mapping[str, Any], _telling: Telling) -> str:
    return _with_note(_("Took {amount} {why}", amount=_amount(body), why=translate(TAKEN_WORDS[body["why"]])), body)


def _closed(body: Mapping[str, Any], _telling: Telling) -> str:
    return joined(": ", [_("Closed"), *([body["reason"]] if "reason" in body else [])])


KINDS: Final = (
    Kind("counted", STOCKED, Counted, "operate", _counted, pages=("stock", "lots")),
    Kind("taken", STOCKED, Taken, "operate", _taken, pages=("stock", "lots")),
    Kind("closed", (LOT, PRODUCT), Closed, "decide", _closed, pages=("lots", "products")),
)
