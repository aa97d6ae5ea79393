"""A machine: its description with the offsets of the last probe checks."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from roastlog.journal.entries import Entry
from roastlog.journal.fold.lines import Line, Lines, lines_of
from roastlog.journal.kinds.machine import check_of, plain_sheet
from roastlog.machine.model import Machine


@dataclass(frozen=True)
class MachineHistory(Lines):
    """A machine folded from its entries, without passwords; ``machine`` is None if it was never set up."""

    id: str
    machine: Machine | None
    lines: tuple[Line, ...] = ()

    @property
    def sheet(self) -> Mapping[str, Any] | None:
        """Its description as in an entry."""
        return None if self.machine is None else plain_sheet(self.machine)


def fold_machine(entries: Iterable[Entry], ident: str) -> MachineHistory:
    """Fold entries into a machine: each description replaces the previous one, a check changes one probe."""
    lines = lines_of(entries)
    machine: Machine | None = None
    for line in lines:
        if line.undone:
            continue
        if line.kind == "set_up":
            machine = _machine(line.body["sheet"]) or machine
        elif line.kind == "probe_checked" and machine is not None:
            machine = _checked(machine, line.body)
    return MachineHistory(ident, machine, tuple(lines))


def _checked(machine: Machine, check: Mapping[str, Any]) -> Machine:
    """The machine with the offset of a probe check."""
    changes = {"offset_c": check["offset_c"], "checked": check_of(check)}
    channels = tuple(
        channel.model_copy(update=changes) if channel.id == check["channel"] else channel
        for channel in machine.channels
    )
    return machine.model_copy(update={"channels": channels})


def _machine(sheet: Mapping[str, Any]) -> Machine | None:
    """The machine of a sheet; None for a sheet that only a newer version can read."""
    try:
        return Machine.model_validate_json(json.dumps(sheet))
    except ValidationError:
        return None
