"""Machines: their sheets, added, changed and exported."""

from collections.abc import Mapping
from typing import Any

from roastlog.errors import EntryRefused, NoSuchMachine, SheetError
from roastlog.journal.kinds.machine import plain_sheet
from roastlog.journal.subject import MACHINE, Subject
from roastlog.languages import _
from roastlog.machine.model import Machine, practice_machine
from roastlog.machine.sheet import parse_sheet, sheet_text
from roastlog.recording.entry_service import Speaker
from roastlog.recording.runtime import Runtime
from roastlog.store import machines as stored
from roastlog.store.machines import Described
from roastlog.store.store import Store


class MachineService:
    """Keeps the sheets of machines, and hands each to the runtime that reads it."""

    def __init__(self, store: Store, runtime: Runtime) -> None:
        self._store, self._runtime, self._entries = store, runtime, runtime.entry_service
        self._parsed: tuple[Described, tuple[Machine, ...]] = Described((), ()), ()

    def all(self) -> list[Machine]:
        """All machines that are read."""
        return self._runtime.machines()

    def get(self, machine_id: str) -> Machine:
        """One machine that is read; raises NoSuchMachine."""
        return self._runtime.live(machine_id).machine

    def kept(self) -> tuple[Machine, ...]:
        """All machines in the database, whether they are read or not. Their sheets are parsed once."""
        described = stored.described(self._store.read)
        if described != self._parsed[0]:
            self._parsed = described, stored.parsed(described)
        return self._parsed[1]

    def practice_ids(self) -> tuple[str, ...]:
        """Ids of the machines where nothing is real: their batches take no stock and are in no list."""
        return tuple(machine.id for machine in self.kept() if machine.practice)

    def add_practice(self, speaker: Speaker = Speaker()) -> Machine:  # noqa: B008 - frozen
        """Set up the simulated machine; one that is there goes on as it is."""
        known = next((machine for machine in self.all() if machine.id == practice_machine().id), None)
        return known or self._set_up(practice_machine(), speaker)

    def change(self, machine: Machine, speaker: Speaker = Speaker()) -> None:  # noqa: B008 - frozen
        """Give a machine another description, and read it by that from now on; raises SheetError."""
        self._set_up(machine, speaker)

    def add(self, sheet: str, speaker: Speaker = Speaker()) -> Machine:  # noqa: B008 - frozen
        """Set up the machine that a TOML sheet describes, and read it from now on; raises SheetError."""
        return self._set_up(parse_sheet(sheet), speaker)

    def keep_sheet(self, sheet: str, speaker: Speaker = Speaker()) -> Machine:  # noqa: B008 - frozen
        """Put a machine into the database; a server that starts later reads it. Raises SheetError."""
        return self._keep(parse_sheet(sheet), speaker)

    def check_probe(self, machine_id: str, check: Mapping[str, Any], speaker: Speaker = Speaker()) -> None:  # noqa: B008
        """Keep the check of a probe, and its offset; raises SheetError."""
        try:
            self._entries.say(Subject(MACHINE, machine_id), "probe_checked", check, speaker)
        except EntryRefused as error:
            raise SheetError(error.args[0]) from None

    def sheet(self, machine_id: str) -> str:
        """The TOML sheet of a machine in the database, whether it is read or not; raises NoSuchMachine."""
        found = next((machine for machine in self.kept() if machine.id == machine_id), None)
        if found is None:
            there = ", ".join(machine.id for machine in self.kept()) or _("none yet")
            raise NoSuchMachine(
                _(
                    "There is no machine “{machine_id}” in this folder; there is {there}.",
                    machine_id=machine_id,
                    there=there,
                )
            )
        return sheet_text(found)

    def _set_up(self, machine: Machine, speaker: Speaker) -> Machine:
        """Keep a machine and read it from now on, anew also where nothing has changed."""
        before = self._runtime.running_as(machine.id)
        machine = self._keep(machine, speaker)
        if self._runtime.running_as(machine.id) is before:  # the journal told the runtime of nothing new
            self._runtime.add(machine)
        return machine

    def _keep(self, machine: Machine, speaker: Speaker) -> Machine:
        known = next((kept for kept in self.kept() if kept.id == machine.id), None)
        if known is not None:
            machine = machine.with_passwords_of(known)
        self._store.write(lambda db: stored.keep_passwords(db, machine))
        if known is not None and plain_sheet(known) == plain_sheet(machine):  # at most a password has changed
            return machine
        subject = Subject(MACHINE, machine.id)
        try:
            self._entries.say(subject, "set_up", {"sheet": plain_sheet(machine)}, speaker)
        except EntryRefused as error:
            raise SheetError(error.args[0]) from None
        return machine
