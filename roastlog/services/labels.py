"""Labels: their texts, and the address in their QR code."""

import math
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final
from urllib.parse import quote

from roastlog.journal.vocabulary import purpose
from roastlog.label.layout import Label
from roastlog.languages import N_, _, date, joined, numeral
from roastlog.services.address import AddressService, leads_to_itself
from roastlog.services.bags import BagService
from roastlog.services.batches import BatchService
from roastlog.services.lots import Lot
from roastlog.services.packing import PackingService, Source
from roastlog.services.settings import SettingsService
from roastlog.units import G_PER_OZ

WARNINGS: Final = {"held": N_("HELD"), "rejected": N_("REJECTED")}


@dataclass(frozen=True)
class LabelAddress:
    """The address in the QR code of a label, who can open it, and whether no phone can."""

    url: str
    reach: str
    out_of_reach: bool = False


@dataclass(frozen=True)
class Filled:
    """The bags that a batch fills: their number, the weight to pack, and what is left over. [g]"""

    bags: int
    to_pack_g: float
    left_g: float


class LabelService:
    """Makes the labels of batches, packs and lots."""

    def __init__(
        self,
        *,
        batches: BatchService,
        packing: PackingService,
        bags: BagService,
        settings: SettingsService,
        address: AddressService,
    ) -> None:
        self._batches, self._packing, self._bags = batches, packing, bags
        self._settings, self._address = settings, address

    def address(self, text: str) -> LabelAddress:
        """The address on the label of a batch, and who can open it."""
        return self._leading_to(f"/r/{self._batches.summary(text).token}")

    def lot_address(self, code: str) -> LabelAddress:
        """The address on the label of a lot, for the house's own devices."""
        return self._leading_to(f"/lots/{quote(code)}")

    def pack_address(self, text: str) -> LabelAddress:
        """The address on the label of a pack, that of the bag page of what it was packed from."""
        token = self._bags.token(self._packing.record(text).row.source)
        return self._leading_to(f"/r/{token}")

    def pack_label(self, text: str) -> Label:
        """The label of a bag of a pack: its net weight, its lot mark and its best-before date."""
        record = self._packing.record(text)
        row, source = record.row, record.sources[0]
        if source.is_blend:
            bag = self._bags.by_token(self._bags.token(source.code))
            label = Label(
                coffee=record.title,
                code=row.code,
                url=self.pack_address(text).url,
                business=bag.business,
                roasted_on=_day(bag.roasted),
            )
        else:
            label = self.label(source.code)
        best_before = None if row.best_before is None else datetime.fromisoformat(row.best_before)
        return replace(
            label,
            coffee=f"{record.title}" if row.product else label.coffee,
            code=row.code,
            net_weight=_net_weight(row.bag_g, self._settings.current().units_mass),
            best_before=_day(best_before) or None,
            warning=_(WARNINGS[self._gravest(source)]) if source.refusals else "",
        )

    def _gravest(self, source: Source) -> str:
        states = {batch.state for batch in source.batches if batch.code in source.refusals}
        return "rejected" if "rejected" in states else "held"

    def _leading_to(self, path: str) -> LabelAddress:
        base = self._settings.current().url_base
        url = f"{base or self._address.own_base()}{path}"
        if leads_to_itself(url):
            return LabelAddress(url, _("This computer only."), out_of_reach=True)
        if base:
            return LabelAddress(url, _("Anyone who can open {base}.", base=base))
        return LabelAddress(url, _("Phones on this network, until this computer's address changes."))

    def filled(self, text: str, bag_g: float | None) -> Filled | None:
        """The bags that a batch fills, by its roasted weight without defects; None until both weights are known. [g]"""
        weighed = self._batches.folded(self._batches.summary(text).code).last("weighed")
        if weighed is None or not bag_g:
            return None
        to_pack_g = max(0.0, weighed.body["roasted_g"] - (weighed.body.get("removed_g") or 0.0))
        bags = math.floor(to_pack_g / bag_g + 1e-9)
        return Filled(bags, to_pack_g, max(0.0, to_pack_g - bags * bag_g))

    def label(self, text: str, bag_g: float | None = None) -> Label:
        """The label of a batch, for a bag with this much in it; without a net weight if none is given. [g]"""
        record = self._batches.record(text)
        bag = self._bags.of(record)
        refused = record.batch.bags_refused
        return Label(
            coffee=bag.coffee,
            code=bag.code,
            url=self.address(text).url,
            business=bag.business,
            subtitle=purpose(bag.intent),
            roasted_on=_day(bag.roasted),
            best_before=_day(bag.best_before) or None,
            net_weight=None if bag_g is None else _net_weight(bag_g, self._settings.current().units_mass),
            note=bag.cup,
            origin=(record.lot.origin or "") if record.lot else "",
            warning=_(WARNINGS[record.batch.state]) if refused else "",
        )

    def lot_label(self, lot: Lot) -> Label:
        """The label of a lot's sacks."""
        warning = _(WARNINGS[lot.state]) if lot.state in WARNINGS else ""
        return Label(
            coffee=lot.coffee,
            code=lot.code,
            url=self.lot_address(lot.code).url,
            business=self._settings.current().business,
            origin=lot.origin or "",
            subtitle=lot.process or "",
            note=_("Arrived {day}", day=lot.arrived) if lot.arrived else None,
            warning=warning,
        )


def _net_weight(bag_g: float, unit: str) -> str:
    """The net weight as printed: in g or kg, or in oz for a house that weighs in lb."""
    if unit == "lb":
        return joined(" ", [numeral(bag_g / G_PER_OZ, ".4g"), "oz"])
    return joined(" ", [numeral(bag_g, ".4g"), "g"] if bag_g < 1000 else [numeral(bag_g / 1000, ".5g"), "kg"])


def _day(when: datetime | None) -> str:
    return "" if when is None else date(when, f"{when.day} {when:%b %Y}", "medium")
