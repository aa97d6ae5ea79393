"""Batches held against each other: up to six, the first of them the guide."""

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

MOST: Final = 6  # more lines than that no eye tells apart
LETTERS: Final = "ABCDEF"
_READ_AGAIN: Final = N_("Read the code off the label again, or choose the batch from the list.")
_OFFERED: Final = 24  # a screen or two; the search finds the others


@dataclass(frozen=True, eq=False)
class Compared:
    """One batch of a comparison.

    Attributes
    ----------
    letter
        What it is called on this page, A the guide.
    record, roast, traits
        All that is known of it, as the numbers see it, and what is told of it.
    against
        It held against the guide; None for the guide itself.
    laid
        A sentence where it could not be aligned as asked and lies at charge instead, else nothing.
    """

    letter: str
    record: Record
    roast: Roast
    features: RoastFeatures
    against: Comparison | None = None
    laid: str = ""

    @property
    def code(self) -> str:
        """Its code."""
        return self.record.summary.code


@dataclass(frozen=True)
class LeftOut:
    """What was asked for and cannot be shown, why, and what to do."""

    typed: str
    reason: str
    do: str


@dataclass(frozen=True, eq=False)
class SideBySide:
    """Batches side by side.

    Attributes
    ----------
    align
        How the curves are laid on each other.
    batches
        Those that could be found, the guide first.
    left_out
        Those that could not.
    """

    align: Alignment
    batches: Sequence[Compared]
    left_out: Sequence[LeftOut]

    @property
    def guide(self) -> Compared | None:
        """What the others are held against."""
        return self.batches[0] if self.batches else None

    @property
    def controls(self) -> list[Control]:
        """The controls of the guide's machine as its sheet has them now, in its order."""
        guide = self.guide
        return list(guide.record.machine.controls) if guide and guide.record.machine else []


class ComparisonService:
    """Holds batches against each other."""

    def __init__(self, store: Store, clock: Clock, history: History, batches: BatchService) -> None:
        self._store, self._clock, self._history, self._batches = store, clock, history, batches

    def compare(self, typed: Sequence[str], align: Alignment = "charge") -> SideBySide:
        """Batches by their codes as typed, each held against the first that is there."""
        records, left_out = self._found(typed)
        batches = [_compared(letter, record) for letter, record in zip(LETTERS, records, strict=False)]
        known: dict[tuple[str, str | None], UsualSpread] = {}
        held = []
        for batch in batches[1:]:
            kind = batch.record.summary.machine, batch.record.summary.coffee
            if kind not in known:
                known[kind] = self._usual(batch.record, but=[each.code for each in batches])
            held.append(_held(batch, batches[0], align, known[kind]))
        return SideBySide(align, [*batches[:1], *held], left_out)

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
                reason = _("It has no curve: no charge was marked, or nothing was read since.")
                left_out.append(LeftOut(text, reason, _("Compare it once it is roasting.")))
            elif len(records) == MOST and record.summary.code not in records:
                reason = _(
                    "More than {most} curves on each other no eye tells apart, and this one is over that.", most=MOST
                )
                left_out.append(LeftOut(text, reason, _("Take one of the others away, then add it.")))
            else:
                records[record.summary.code] = record
        return list(records.values()), left_out

    def _usual(self, record: Record, but: Sequence[str]) -> UsualSpread:
        """What is usual between two batches of its coffee on its machine, those that are looked at left aside."""
        if record.machine is None:
            return UsualSpread()
        earlier = self._history.earlier(record.machine, record.summary.coffee, now_ms=self._clock.now_ms())
        return usual_spread([roast for roast in earlier if roast.name not in but])

    def guide_for(self, text: str) -> str | None:
        """The code to hold a batch against: its guide, else the batch of its coffee before it; None without either."""
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
        """Batches that could be added: those that a query finds, else those of the same coffee, then the others."""
        there = {batch.code for batch in beside.batches}
        coffee = beside.guide.record.summary.coffee if beside.guide and not query else None
        pages = [self._batches.page(coffee=coffee).items] if coffee else []
        pages.append(self._batches.page(query=query).items)
        found = {batch.code: batch for page in pages for batch in page if batch.charged_ms is not None}
        return [batch for code, batch in found.items() if code not in there][:_OFFERED]


def _compared(letter: str, record: Record) -> Compared:
    roast, smooth = record.traced.roast, record.traced.smooth(record.bean)
    if smooth is not None:  # it is over, so its rate need not lag; that of one under way stays the live one
        roast = replace(roast, rate_c_per_min=smooth.rate_c_per_min)
    return Compared(letter, record, roast, features(roast))


def _held(batch: Compared, guide: Compared, align: Alignment, usual: UsualSpread) -> Compared:
    laid = ""
    try:
        shift_s(batch.roast, guide.roast, align)
    except CurveError as error:
        laid, align = _("{error} It is laid at charge.", error=error), "charge"
    return replace(batch, against=compare(batch.roast, guide.roast, align=align, usual=usual), laid=laid)
