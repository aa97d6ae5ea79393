"""Comparison of up to six batches; the first is the guide."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from roastlog.clock import Clock
from roastlog.curve.comparison.alignment import Alignment, shift_s
from roastlog.curve.comparison.compare import Comparison, compare
from roastlog.curve.comparison.deviations import UsualSpread, usual_spread
from roastlog.curve.comparison.matching import RoastFeatures, features
from roastlog.curve.roast import Roast
from roastlog.errors import CodeError, CurveError, NoSuchBatch
from roastlog.languages import N_, _
from roastlog.machine.model import Control
from roastlog.roasts.history import History
from roastlog.services.batches import BatchService, Record
from roastlog.store import batches as lists
from roastlog.store.batches import BatchSummary
from roastlog.store.store import Store

MOST: Final = 6  # nobody can tell more lines apart
LETTERS: Final = "ABCDEF"
_READ_AGAIN: Final = N_("Check the code on the label, or choose the batch from the list.")
_OFFERED: Final = 24  # a screen or two; the search finds the others


@dataclass(frozen=True, eq=False)
class Compared:
    """One batch of a comparison.

    Attributes
    ----------
    letter
        Its letter on the page; A is the guide.
    record, roast, features
        Its record, its curve for the numerics, and the features to compare.
    against
        Its comparison with the guide; None for the guide itself.
    laid
        The reason as a sentence where it is aligned at charge instead of as asked; else empty.
    """

    letter: str
    record: Record
    roast: Roast
    features: RoastFeatures
    against: Comparison | None = None
    laid: str = ""

    @property
    def code(self) -> str:
        """Code of the batch."""
        return self.record.summary.code


@dataclass(frozen=True)
class LeftOut:
    """A batch that was asked for and cannot be shown: the text typed, the reason and the remedy."""

    typed: str
    reason: str
    do: str


@dataclass(frozen=True, eq=False)
class SideBySide:
    """Batches side by side.

    Attributes
    ----------
    align
        The alignment of the curves.
    batches
        The batches shown, the guide first.
    left_out
        The batches that cannot be shown.
    """

    align: Alignment
    batches: Sequence[Compared]
    left_out: Sequence[LeftOut]

    @property
    def guide(self) -> Compared | None:
        """The batch that the others are compared with."""
        return self.batches[0] if self.batches else None

    @property
    def controls(self) -> list[Control]:
        """The controls of the guide's machine by its present sheet, in its order."""
        guide = self.guide
        return list(guide.record.machine.controls) if guide and guide.record.machine else []


class ComparisonService:
    """Compares batches."""

    def __init__(self, store: Store, clock: Clock, history: History, batches: BatchService) -> None:
        self._store, self._clock, self._history, self._batches = store, clock, history, batches

    def compare(self, typed: Sequence[str], align: Alignment = "charge") -> SideBySide:
        """The batches of the codes as typed, each compared with the first one found."""
        records, left_out = self._found(typed)
        batches = [_compared(letter, record) for letter, record in zip(LETTERS, records, strict=False)]
        known: dict[tuple[str, str | None], UsualSpread] = {}
        others = []
        for batch in batches[1:]:
            kind = batch.record.summary.machine, batch.record.summary.coffee
            if kind not in known:
                known[kind] = self._usual(batch.record, but=[each.code for each in batches])
            others.append(_compared_with(batch, batches[0], align, known[kind]))
        return SideBySide(align, [*batches[:1], *others], left_out)

    def _found(self, typed: Sequence[str]) -> tuple[list[Record], list[LeftOut]]:
        records: dict[str, Record] = {}
        left_out: list[LeftOut] = []
        for text in typed:
            try:
                record = self._batches.record(text)
            except (CodeError, NoSuchBatch) as error:
                left_out.append(LeftOut(text, str(error), _READ_AGAIN))
                continue
            if not record.curve.time_s.size:
                reason = _("It has no curve: charge not marked, or no readings since.")
                left_out.append(LeftOut(text, reason, _("Compare it once it is roasting.")))
            elif len(records) == MOST and record.summary.code not in records:
                reason = _("At most {most} batches fit in one comparison.", most=MOST)
                left_out.append(LeftOut(text, reason, _("Remove one, then add it.")))
            else:
                records[record.summary.code] = record
        return list(records.values()), left_out

    def _usual(self, record: Record, but: Sequence[str]) -> UsualSpread:
        """Usual spread between two batches of its coffee on its machine, without the ones compared."""
        if record.machine is None:
            return UsualSpread()
        earlier = self._history.earlier(record.machine, record.summary.coffee, now_ms=self._clock.now_ms())
        return usual_spread([roast for roast in earlier if roast.name not in but])

    def guide_for(self, text: str) -> str | None:
        """Code of the batch to compare with: its guide, else the previous batch of its coffee; None without either."""
        record = self._batches.record(text)
        guide = record.batch.facts.guide
        if guide is not None:
            return guide
        summary = record.summary
        if summary.coffee is None or summary.charged_ms is None:
            return None
        before = lists.roasted(self._store.read, summary.machine, summary.coffee, before_ms=summary.charged_ms, limit=1)
        return next(iter(before), None)

    def candidates(self, beside: SideBySide, query: str = "") -> list[BatchSummary]:
        """Batches that could be added: the matches of a query, else those of the same coffee and then the others."""
        there = {batch.code for batch in beside.batches}
        coffee = beside.guide.record.summary.coffee if beside.guide and not query else None
        pages = [self._batches.page(coffee=coffee).items] if coffee else []
        pages.append(self._batches.page(query=query).items)
        found = {batch.code: batch for page in pages for batch in page if batch.charged_ms is not None}
        return [batch for code, batch in found.items() if code not in there][:_OFFERED]


def _compared(letter: str, record: Record) -> Compared:
    roast, smooth = record.traced.roast, record.traced.smooth(record.bean)
    if smooth is not None:  # the batch is over: the smoothed rate does not lag as the live one does
        roast = replace(roast, rate_c_per_min=smooth.rate_c_per_min)
    return Compared(letter, record, roast, features(roast))


def _compared_with(batch: Compared, guide: Compared, align: Alignment, usual: UsualSpread) -> Compared:
    laid = ""
    try:
        shift_s(batch.roast, guide.roast, align)
    except CurveError as error:
        laid, align = _("{error} Aligned at charge instead.", error=error), "charge"
    return replace(batch, against=compare(batch.roast, guide.roast, align=align, usual=usual), laid=laid)
