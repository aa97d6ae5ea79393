"""Bags: their public page, and the codes that lead to it."""

import re
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Final, NamedTuple

import numpy as np

from roastlog.clock import Clock
from roastlog.errors import NoSuchBatch, NotFound, Withdrawn
from roastlog.journal.fold import Batch
from roastlog.journal.vocabulary import MOMENT_WORDS
from roastlog.languages import _
from roastlog.pictures import thumbnail
from roastlog.plot.small import small_curve_svg
from roastlog.services.batches import BatchService, Record
from roastlog.services.packing import PackingService
from roastlog.services.people import PeopleService
from roastlog.services.photos import PhotoService
from roastlog.services.settings import SettingsService
from roastlog.store import batches as lists
from roastlog.store.batches import TOKEN_BYTES
from roastlog.store.roasted import is_blend
from roastlog.store.store import Store


class BagPhoto(NamedTuple):
    """A photo of a trier check, as a bag page shows it. [s from charge]"""

    name: str
    time_s: float | None
    stage: str


@dataclass(frozen=True)
class Bag:
    """The contents of a bag's public page."""

    code: str
    coffee: str
    intent: str | None
    business: str
    roasted: datetime | None
    best_before: datetime | None
    cup: str | None
    curve_svg: str
    origin: Mapping[str, str]
    weights: Mapping[str, float]
    roasted_by: str | None
    state: str
    photos: Sequence[BagPhoto] = ()


PRACTICE: Final = "PRACTICE"
BAG_SIDE_PX: Final = 640
_BAG: Final = re.compile(r"https?://[^/\s]+/r/(?P<token>[\w-]{1,100})", re.ASCII | re.IGNORECASE)
_SMALL_MOMENTS: Final = ("charge", "yellow", "first_crack", "drop")


class BagService:
    """Finds the bag of a code and makes its page."""

    def __init__(
        self,
        store: Store,
        clock: Clock,
        *,
        batches: BatchService,
        packing: PackingService,
        photos: PhotoService,
        people: PeopleService,
        settings: SettingsService,
    ) -> None:
        self._store, self._clock = store, clock
        self._batches, self._packing = batches, packing
        self._photos, self._people, self._settings = photos, people, settings

    def by_token(self, token: str) -> Bag:
        """The bag with a token; raises NoSuchBatch or Withdrawn."""
        code = self._code_of(token)
        return self._of_blend(code) if is_blend(self._store.read, code) else self.of(self._batches.record(code))

    def photo(self, token: str, name: str) -> bytes:
        """A photo on this bag's page, as JPEG; raises NotFound for any other photo, and the errors of `by_token`."""
        code = self._code_of(token)
        batch = self._batches.folded(code)  # of a blend it has no lines
        if name not in {photo.name for photo in self._bag_photos(batch)}:
            raise NotFound(_("This photo is not on the bag's page."))
        return thumbnail(self._photos.jpeg(name), BAG_SIDE_PX)

    def _code_of(self, token: str) -> str:
        if lists.withdrawn(self._store.read, token):
            raise Withdrawn(_("The roastery has withdrawn this code. Ask where you bought the bag."))
        code = lists.code_of(self._store.read, token)
        if code is None or lists.is_discarded(self._store.read, code):
            raise NoSuchBatch(_("This code is unknown here. Ask the roastery that sold the bag."))
        return code

    def scanned(self, text: str) -> str:
        """Code of the batch of a scanned QR code, for the roastery's own devices.

        Only the token of a bag counts, not the address before it, since labels outlive a server's address.

        Raises
        ------
        Withdrawn, NoSuchBatch
            If it is the QR code of a bag that is withdrawn or unknown here.
        CodeError
            If it is neither that of a bag nor the code of a batch.
        """
        bag = _BAG.fullmatch(text.strip())
        if bag is None:
            return self._batches.summary(text).code
        if lists.withdrawn(self._store.read, bag["token"]):
            raise Withdrawn(_("The code of this bag was withdrawn. Type the batch code printed beside it."))
        summary = lists.by_token(self._store.read, bag["token"])
        if summary is None:
            raise NoSuchBatch(_("This label is from no batch here. Nothing was opened."))
        return summary.code

    def token(self, code: str) -> str:
        """The token of the bag page of a batch or a blend."""
        return lists.token_of(self._store.read, code)

    def withdraw_code(self, text: str) -> None:
        """Give a batch a new token for its bags; codes already printed no longer work."""
        code, token = self._batches.summary(text).code, secrets.token_urlsafe(TOKEN_BYTES)
        self._store.write(lambda db: lists.withdraw(db, code, token, self._clock.now_ms()))

    def of(self, record: Record) -> Bag:
        """The bag of a batch."""
        batch, lot, settings = record.batch, record.lot, self._settings.current()
        ended = batch.moments.get("drop") or batch.moments.get("charge") or batch.opened
        roasted = None if ended is None else datetime.fromtimestamp(ended.at_ms / 1000).astimezone()
        best_before = None
        if roasted is not None and settings.best_before_days:
            best_before = roasted + timedelta(days=settings.best_before_days)
        facts, coffee = {}, record.summary.coffee or _("Coffee without a name yet")
        if lot:
            facts = {
                _("origin"): lot.origin,
                _("process"): lot.process,
                _("grown at"): lot.altitude,
                _("picked"): lot.harvest,
            }
        weights = (
            {_("green weight"): batch.green_g, _("roasted weight"): batch.roasted_g}
            if settings.bag_shows_weights
            else {}
        )
        return Bag(
            code=record.summary.code,
            coffee=f"{PRACTICE}: {coffee}" if record.practice else coffee,
            intent=batch.facts.intent,
            business=settings.business,
            roasted=roasted,
            best_before=best_before,
            cup=lot.cup if lot else None,
            curve_svg=self._curve_svg(record),
            origin={name: text for name, text in facts.items() if text},
            weights={name: mass_g for name, mass_g in weights.items() if mass_g is not None},
            roasted_by=self._roasted_by(batch) if settings.bag_shows_people else None,
            state=batch.state,
            photos=self._bag_photos(batch),
        )

    def _of_blend(self, code: str) -> Bag:
        """The bag of a blend: its batches with their shares, the oldest roast, and the gravest state of them."""
        record, settings = self._packing.blend_record(code), self._settings.current()
        source, states = record.source, {batch.state for batch in record.source.batches}
        parts = () if record.blend.facts is None else record.blend.facts.parts
        titles = {batch.code: batch.title for batch in source.batches}
        best_before, _rule = self._packing.best_before(source.product, None, source)
        roasted_ms = source.roasted_ms
        return Bag(
            code=code,
            coffee=source.title,
            intent=None,
            business=settings.business,
            roasted=None if roasted_ms is None else datetime.fromtimestamp(roasted_ms / 1000).astimezone(),
            best_before=None if best_before is None else datetime.combine(best_before, time()).astimezone(),
            cup=None,
            curve_svg="",
            origin={
                f"{titles.get(part.batch, '')} {part.batch}".strip(): f"{100 * part.grams / source.whole_g:.0f} %"
                for part in parts
                if source.whole_g
            },
            weights={},
            roasted_by=None,
            state=next((state for state in ("rejected", "held") if state in states), ""),
        )

    def _bag_photos(self, batch: Batch) -> list[BagPhoto]:
        """The photos on the public page; none unless the settings allow it."""
        if not self._settings.current().bag_shows_photos:
            return []
        here = self._photos.of(batch)
        lines = [line for line in batch.of("trier") if line.body.get("photo") in here]
        return [BagPhoto(line.body["photo"], batch.time_s(line.at_ms), line.body["stage"]) for line in lines]

    def _curve_svg(self, record: Record) -> str:
        bean = record.bean
        if bean is None or not np.isfinite(record.curve.channels[bean]).any():
            return ""
        moments = {
            _(MOMENT_WORDS[row.moment]): row.time_s for row in record.measures.moments if row.moment in _SMALL_MOMENTS
        }
        return small_curve_svg(record.curve.time_s, record.curve.channels[bean], moments, label=_("How it was roasted"))

    def _roasted_by(self, batch: Batch) -> str | None:
        shown = {person.name: person.shown for person in self._people.all()}
        said = [line.by.person for line in (*batch.of("moment"), *batch.of("opened")) if line.by.person in shown]
        return shown[said[0]] if said and said[0] else None
