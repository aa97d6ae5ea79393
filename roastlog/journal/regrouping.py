"""The entries that split a batch in two, or merge two into one. Nothing is moved: copies are made, and taken back."""

from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID, uuid4

from roastlog.errors import EntryRefused
from roastlog.journal.entries import By
from roastlog.journal.fold import Batch, Line
from roastlog.journal.kinds import corrects
from roastlog.languages import _

Raw = dict[str, Any]
_OPENINGS = {"opened", "joined"}


def split(batch: Batch, joined: UUID, now_ms: int, by: By) -> list[Raw]:
    """The entries that split off a new batch: that of a joined opening, with all that its device entered since.

    Parameters
    ----------
    joined
        Id of the `joined` line.
    now_ms
        Time at which the entries are taken back from ``batch``. [ms UTC]
    by
        Who splits it.

    Raises
    ------
    EntryRefused
        If the batch has no such line, or was merged into another one, which has its lines now.
    """
    if batch.merged_into is not None:
        raise EntryRefused(
            _("Batch {code} and batch {other} are already one.", code=batch.code, other=batch.merged_into)
        )
    opening = next((line for line in batch.of("joined") if line.id == joined), None)
    if opening is None:
        raise EntryRefused(_("Batch {code} was not started on a second device by this entry.", code=batch.code))
    lines = [line for line in _counting(batch) if line.by.device == opening.by.device and line.at_ms >= opening.at_ms]
    ident = uuid4()
    opened = _raw(ident, None, batch.machine, "opened", opening.at_ms, opening.by, opening.body)
    copies = [_copy(line, ident, batch.machine) for line in lines if line.kind not in _OPENINGS]
    gone = [opening, *(line for line in lines if line.kind not in _OPENINGS)]
    undone = [_raw(uuid4(), batch.code, batch.machine, "undo", now_ms, by, {"entry": str(line.id)}) for line in gone]
    return [opened, *copies, *undone]


def merge(batch: Batch, into: Batch, now_ms: int, by: By) -> list[Raw]:
    """The entries that merge a batch into another one of its machine, which gets all its lines that count.

    Raises
    ------
    EntryRefused
        If they are one batch already, or were roasted on two machines.
    """
    if batch.code == into.code or batch.state == "discarded" or into.state == "discarded":
        raise EntryRefused(_("Batch {code} and batch {other} are already one.", code=batch.code, other=into.code))
    if batch.machine != into.machine:
        raise EntryRefused(
            _("Batch {code} and batch {other} were roasted on two machines.", code=batch.code, other=into.code)
        )
    opened = [batch.opened] if batch.opened else []
    joined = [_raw(uuid4(), into.code, into.machine, "joined", line.at_ms, line.by, line.body) for line in opened]
    lines = [line for line in _counting(batch) if line.kind not in _OPENINGS]
    copies = [_copy(line, str(into.code), into.machine) for line in lines]
    merged = _raw(uuid4(), batch.code, batch.machine, "merged", now_ms, by, {"into": into.code})
    return [*joined, *copies, merged]


def _counting(batch: Batch) -> Iterable[Line]:
    return (line for line in batch.lines if not line.undone and not corrects(line.kind) and line.kind != "merged")


def _copy(line: Line, batch: UUID | str, machine: str | None) -> Raw:
    """A line as an entry of another batch, as it counts after its corrections."""
    return _raw(uuid4(), batch, machine, line.kind, line.at_ms, line.by, line.body)


def _raw(
    ident: UUID,
    batch: UUID | str | None,
    machine: str | None,
    kind: str,
    at_ms: int,
    by: By,
    body: Mapping[str, Any],
) -> Raw:
    raw = {"id": str(ident), "machine": machine, "kind": kind, "at_ms": at_ms, "body": dict(body)}
    raw |= {"by": by.model_dump(exclude_none=True)}
    return raw if batch is None else raw | {"batch": str(batch)}
