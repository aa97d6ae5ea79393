"""Checks of blends and packs against what there is: their sources, the decisions on those, and what is left of them."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Final

from roastlog.errors import CodeError, EntryRefused
from roastlog.journal.entries import Entry
from roastlog.journal.fold import Account, Batch, Blend, Pack, fold_blend
from roastlog.journal.fold.lines import Line
from roastlog.journal.fold.movements import ROASTED
from roastlog.journal.phrases import grams
from roastlog.journal.subject import BLEND, Subject
from roastlog.journal.vocabulary import called
from roastlog.languages import _, joined, ngettext
from roastlog.store import batches as lists
from roastlog.store import journal as stored
from roastlog.store import ledger, machines, roasted
from roastlog.store.store import Connection
from roastlog.trace.codes import parse_source

Folded = Callable[[str], Batch]
_FILLED: Final = frozenset({"packed", "blended"})


def checked(connection: Connection, entry: Entry, folded: Folded) -> Entry:
    """A `packed` or `blended` entry with the codes of its sources as stored; raises EntryRefused."""
    parts = [part | {"batch": source_named(connection, part["batch"])} for part in entry.body["parts"]]
    _check_sources(connection, entry.subject, [part["batch"] for part in parts], folded)
    return entry.model_copy(update={"body": {**entry.body, "parts": parts}})


def check_amended(connection: Connection, entry: Entry, line: Line, body: Mapping[str, Any], folded: Folded) -> None:
    """Refuse a correction that names a source which must not be packed; those named before may stay."""
    if line.kind not in _FILLED:
        return
    before = {part["batch"] for part in line.body["parts"]}
    new = [part["batch"] for part in body["parts"] if part["batch"] not in before]
    for code in new:
        if source_named(connection, code) != code:
            raise EntryRefused(_("Write the code in full: {code}.", code=source_named(connection, code)))
    _check_sources(connection, entry.subject, new, folded)


def check_undo(connection: Connection, entry: Entry, subject: Pack | Blend) -> None:
    """Refuse to undo a packing whose bags are sold, or a blending whose coffee was used."""
    line = next((line for line in subject.lines if str(line.id) == str(entry.body["entry"])), None)
    if line is None or line.kind not in _FILLED or line.undone:
        return
    if isinstance(subject, Pack):
        if subject.sold:
            raise EntryRefused(
                ngettext(
                    "{count} bag of this pack is sold. Undo its sale first, or correct the packing.",
                    "{count} bags of this pack are sold. Undo their sale first, or correct the packing.",
                    subject.sold,
                    count=subject.sold,
                )
            )
        return
    loose = Account(ROASTED, subject.code)
    used = [one.target.name for one in ledger.movements(connection, loose) if one.source == loose and one.target.name]
    if used:
        raise EntryRefused(
            _("This blend is in {code} already. Undo that first, or correct the blending.", code=used[0])
        )


def source_named(connection: Connection, text: str) -> str:
    """Code of the batch or blend that a text names; raises EntryRefused with what is wrong."""
    try:
        code = parse_source(text).code
    except CodeError as error:
        code = text.strip()
        if not roasted.is_blend(connection, code):
            raise EntryRefused(str(error)) from None
    if roasted.is_blend(connection, code):
        return code
    batch = lists.summary(connection, code)
    if batch is None:
        raise EntryRefused(_("No batch or blend has the code {code}. Check the label or the records.", code=code))
    if batch.state == "discarded":
        raise EntryRefused(_("Batch {code} was discarded or merged, so there is nothing of it to pack.", code=code))
    if machines.is_practice(connection, batch.machine):
        raise EntryRefused(_("Batch {code} was practice, so there is no coffee of it to pack.", code=code))
    return code


def refusing(connection: Connection, code: str, folded: Folded) -> list[Batch]:
    """The batches in a batch or blend that are held or rejected, and that nobody has allowed to be packed."""
    return [batch for batch in map(folded, batches_in(connection, code)) if batch.bags_refused]


def batches_in(connection: Connection, code: str) -> list[str]:
    """Codes of the batches that a blend was made of, through blends of blends; a batch is made of itself."""
    found: dict[str, None] = {}
    seen, waiting = {code}, [code]
    while waiting:
        source = waiting.pop(0)
        facts = fold_blend(stored.entries_about(connection, Subject(BLEND, source)), source).facts
        if facts is None:
            found[source] = None
            continue
        parts = [part.batch for part in facts.parts if part.batch not in seen]
        seen.update(parts)
        waiting += parts
    return list(found)


def short_notice(connection: Connection, codes: Iterable[str]) -> str | None:
    """A notice where more was taken out of batches or blends than there was of them."""
    for code in codes:
        left_g = ledger.balance_g(connection, Account(ROASTED, code))
        if left_g < 0:
            return _(
                "Saved. {short} more of {code} was taken than was weighed out: count it, or correct the weight.",
                short=grams(-left_g),
                code=code,
            )
    return None


def _check_sources(connection: Connection, subject: Subject | None, codes: Sequence[str], folded: Folded) -> None:
    for code in codes:
        if subject is not None and subject.kind == BLEND and subject.name == code:
            raise EntryRefused(_("A blend cannot be made of itself."))
        for batch in refusing(connection, code, folded):
            raise EntryRefused(refusal(batch))


def refusal(batch: Batch) -> str:
    """The sentence that a batch must not be packed, with the reason of that decision."""
    decided = batch.last("released")
    reason = "" if decided is None else str(decided.body.get("reason", ""))
    state = called(batch.state)
    told = (
        _("Batch {code} is {state}: {reason}", code=batch.code, state=state, reason=reason)
        if reason
        else _("Batch {code} is {state}.", code=batch.code, state=state)
    )
    return joined(" ", [told, _("Release it, or allow its bags with a reason; then pack it.")])
