"""Labels: their texts, and the address in their QR code."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from roastlog.journal.vocabulary import purpose
from roastlog.label.layout import Label
from roastlog.languages import N_, _, date
from roastlog.services.address import AddressService, leads_to_itself
from roastlog.services.bags import BagService
from roastlog.services.batches import BatchService
from roastlog.services.settings import SettingsService

WARNINGS: Final = {"held": N_("HELD"), "rejected": N_("REJECTED")}


@dataclass(frozen=True)
class LabelAddress:
    """The address in the QR code of a label, who can open it, and whether no phone can."""

    url: str
    reach: str
    out_of_reach: bool = False


class LabelService:
    """Makes the labels of batches."""

    def __init__(
        self, *, batches: BatchService, bags: BagService, settings: SettingsService, address: AddressService
    ) -> None:
        self._batches, self._bags, self._settings, self._address = batches, bags, settings, address

    def address(self, text: str) -> LabelAddress:
        """The address on the label of a batch, and who can open it."""
        token = self._batches.summary(text).token
        base = self._settings.current().url_base
        url = f"{base or self._address.own_base()}/r/{token}"
        if leads_to_itself(url):
            return LabelAddress(url, _("This computer only."), out_of_reach=True)
        if base:
            return LabelAddress(url, _("Anyone who can open {base}.", base=base))
        return LabelAddress(url, _("Phones on this network, until this computer's address changes."))

    def label(self, text: str) -> Label:
        """The label of a batch."""
        record = self._batches.record(text)
        bag = self._bags.of(record)
        refused = record.batch.bag_labels_refused
        return Label(
            coffee=bag.coffee,
            code=bag.code,
            url=self.address(text).url,
            business=bag.business,
            subtitle=purpose(bag.intent),
            roasted_on=_day(bag.roasted),
            best_before=_day(bag.best_before) or None,
            note=bag.cup,
            warning=_(WARNINGS[record.batch.state]) if refused else "",
        )


def _day(when: datetime | None) -> str:
    return "" if when is None else date(when, f"{when.day} {when:%b %Y}", "medium")
