"""Kinds about products, customers, their orders, and the bags that they got."""

from collections.abc import Mapping
from math import isclose
from typing import Annotated, Any, Final, Literal

from pydantic import Field, StringConstraints, model_validator

from roastlog.journal.kinds.base import Body, Date, Ident, Kind, Line, Short, Telling, Text
from roastlog.journal.phrases import grams
from roastlog.journal.subject import CUSTOMER, ORDER, PACK, PRODUCT
from roastlog.languages import _, joined, ngettext

Share = Annotated[float, Field(gt=0, le=1)]
Ratio = Annotated[float, Field(gt=0, lt=1)]
BagG = Annotated[int, Field(gt=0, le=100_000, description="nominal weight of a bag, g")]
Count = Annotated[int, Field(ge=1, le=100_000)]


class Component(Body):
    """A share of a product: of a lot, or of another product; and the lots that may stand in for it."""

    lot: Short | None = None
    product: Short | None = None
    share: Share
    instead: Annotated[list[Short], Field(max_length=10, description="lots to use once this one is used up")] = Field(
        default_factory=list
    )

    @property
    def lots(self) -> tuple[str, ...]:
        """Its lot and those that may stand in for it."""
        return tuple(lot for lot in (self.lot, *self.instead) if lot)

    @model_validator(mode="after")
    def _one_of_both(self) -> "Component":
        if (self.lot is None) == (self.product is None):
            raise ValueError("a part is either a lot or a product")
        return self


class Packaging(Body):
    """A packaging that a product is sold in, and how long it keeps there."""

    name: Line
    best_before_days: Annotated[int, Field(ge=1, le=3650)] | None = None
    reason: Annotated[Line | None, Field(description="why so many days")] = None


class Composed(Body):
    """A product: its coffee, and how it is roasted and packed. The last one counts."""

    name: Line
    parts: Annotated[list[Component], Field(min_length=1, max_length=20)]
    blended: Literal["green", "roasted"] = "roasted"
    intent: Short | None = None
    guide: Annotated[Short | None, Field(description="code of the batch that it is roasted after")] = None
    development_ratio: Ratio | None = None
    loss_low: Ratio | None = None
    loss_high: Ratio | None = None
    darkness: Annotated[int | None, Field(ge=1, le=5, description="from 1, light, to 5, dark: the day's order")] = None
    apart: Annotated[Literal["decaf", "flavoured"] | None, Field(description="roasted last and apart")] = None
    bag_g: BagG | None = None
    packagings: Annotated[list[Packaging], Field(max_length=10, description="the usual one first")] = Field(
        default_factory=list
    )
    gtin: Annotated[str, StringConstraints(pattern=r"^\d{8}$|^\d{12,14}$")] | None = None

    @model_validator(mode="after")
    def _adds_up(self) -> "Composed":
        total = sum(part.share for part in self.parts)
        if not isclose(total, 1, abs_tol=5e-4):
            raise ValueError(f"shares must add up to 100 %, not {100 * total:g} %")
        if self.loss_low is not None and self.loss_high is not None and self.loss_low > self.loss_high:
            raise ValueError("the lowest roast loss is above the highest")
        return self


class Listed(Body):
    """A customer's name and contact, both erasable; entries know the customer by an id."""

    name: Line
    contact: Text | None = None
    business: Annotated[bool, Field(description="a business; its purchases must be traceable by law")] = True


class OrderLine(Body):
    """Bags of one size of one product."""

    product: Short
    bag_g: BagG
    count: Count


class Ordered(Body):
    """An order of a customer. The last one counts."""

    customer: Ident
    lines: Annotated[list[OrderLine], Field(min_length=1, max_length=100)]
    due: Date
    reference: Line | None = None


class Cancelled(Body):
    """An order is off."""

    reason: Text | None = None


class Sold(Body):
    """Bags of a pack that a customer got."""

    count: Count
    customer: Ident
    order: Short | None = None
    reference: Line | None = None


class Returned(Body):
    """Bags of a pack that came back from a customer."""

    count: Count
    customer: Ident
    reason: Text | None = None


def _bags(count: int) -> str:
    return ngettext("{count} bag", "{count} bags", count, count=count)


def _composed(body: Mapping[str, Any], _telling: Telling) -> str:
    parts = [
        joined(" ", [f"{100 * part['share']:.4g} %", part.get("lot") or part.get("product") or ""])
        for part in body["parts"]
    ]
    return joined(" · ", [_("Product"), body["name"], joined(", ", parts)])


def _listed(body: Mapping[str, Any], _telling: Telling) -> str:
    return _("Customer {name}", name=body["name"]) if "name" in body else _("A customer whose name is erased")


def _ordered(body: Mapping[str, Any], _telling: Telling) -> str:
    lines = [joined(" ", [f"{line['count']} × {grams(line['bag_g'])}", line["product"]]) for line in body["lines"]]
    return _("Ordered {lines}, due {date}", lines=joined(", ", lines), date=body["due"])


def _cancelled(body: Mapping[str, Any], _telling: Telling) -> str:
    return joined(": ", [_("Order cancelled"), *([body["reason"]] if "reason" in body else [])])


KINDS: Final = (
    Kind("composed", (PRODUCT,), Composed, "decide", _composed, pages=("products",)),
    Kind("listed", (CUSTOMER,), Listed, "operate", _listed, pages=("sales",), erasable=("name", "contact")),
    Kind("ordered", (ORDER,), Ordered, "operate", _ordered, pages=("sales",)),
    Kind("cancelled", (ORDER,), Cancelled, "operate", _cancelled, pages=("sales",)),
    Kind(
        "sold",
        (PACK,),
        Sold,
        "operate",
        lambda body, _telling: _("Sold {bags}", bags=_bags(body["count"])),
        pages=("sales",),
    ),
    Kind(
        "returned",
        (PACK,),
        Returned,
        "operate",
        lambda body, _telling: _("{bags} came back", bags=_bags(body["count"])),
        pages=("sales",),
    ),
)
