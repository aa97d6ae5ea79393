"""Green lots and their remaining weights."""

import math
import re
from dataclasses import asdict, dataclass
from typing import Final
from urllib.parse import unquote

from roastlog.errors import EntryRefused, NoSuchLot, SettingError
from roastlog.journal.fold import fold_lot
from roastlog.journal.subject import LOT, Subject
from roastlog.languages import _
from roastlog.recording.entry_service import EntryService, Speaker
from roastlog.store import books
from roastlog.store import journal as stored
from roastlog.store.books import LotFigures, LotRow, StockedLot
from roastlog.store.store import Store

__all__ = ["Lot", "LotRow", "LotService"]


_ADDRESS: Final = re.compile(r"https?://[^/\s]+/lots/(?P<code>[^?#\s]{1,600})")


@dataclass(frozen=True)
class Lot(LotFigures, LotRow):
    """A green lot, its figures and its remaining weight. [g]"""

    left_g: int = 0


class LotService:
    """Reads and stores green lots. Batches of practice machines take nothing from them."""

    def __init__(self, store: Store, entries: EntryService) -> None:
        self._store, self._entries = store, entries

    def all(self) -> list[Lot]:
        """All green lots that are not closed, by coffee."""
        return [lot for lot in self.every() if lot.state != "closed"]

    def every(self) -> list[Lot]:
        """All green lots, closed ones too, by coffee."""
        return [_lot(found) for found in books.lots(self._store.read)]

    def find(self, code: str) -> Lot | None:
        """One lot; None if no lot has that code."""
        found = books.lot(self._store.read, code)
        return None if found is None else _lot(found)

    def scanned(self, text: str) -> str | None:
        """Code of the lot of a scanned label or a typed code, in any capitals; None if there is none.

        Of an address only what follows the last ``/lots/`` counts, since labels outlive a server's address.
        """
        address = _ADDRESS.fullmatch(text.strip())
        return books.lot_named(self._store.read, unquote(address["code"]) if address else text.strip())

    def get(self, code: str) -> Lot:
        """One lot; raises NoSuchLot."""
        found = self.find(code)
        if found is None:
            raise NoSuchLot(_("There is no lot {code}.", code=code))
        return found

    def keep(self, row: LotRow, speaker: Speaker = Speaker()) -> Lot:  # noqa: B008 - frozen
        """Add or change a lot; raises SettingError."""
        if not row.code or not row.coffee:
            raise SettingError(_("A lot needs a code and a coffee name."))
        if not (math.isfinite(row.bought_g) and row.bought_g >= 0):
            raise SettingError(_("Weight bought must be 0 or more."))
        try:
            self._enter(row, speaker)
        except EntryRefused as error:
            raise SettingError(error.args[0]) from None
        return self.get(row.code)

    def _enter(self, row: LotRow, speaker: Speaker) -> None:
        """Enter the lot's arrival, or correct the fields that differ."""
        subject = Subject(LOT, row.code)
        facts = {name: value for name, value in asdict(row).items() if name not in {"code", "bought_g"}}
        facts["green_g"] = row.bought_g
        arrived = fold_lot(stored.entries_about(self._store.read, subject), row.code).arrived
        if arrived is None:
            body = {name: value for name, value in facts.items() if value is not None}
            self._entries.say(subject, "arrived", body, speaker)
        elif changed := {name: value for name, value in facts.items() if value != arrived.body.get(name)}:
            self._entries.say(subject, "amend", {"entry": str(arrived.id), "body": changed}, speaker)


def _lot(found: StockedLot) -> Lot:
    return Lot(**vars(found.row), **vars(found.figures), left_g=found.left_g)
