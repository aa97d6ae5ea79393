"""Machines: their sheets, added, changed and exported."""

from collections.abc import Mapping, Sequence
from typing import Any

from roastlog.errors import EntryRefused, NoSuchMachine, SheetError
from roastlog.journal.entries import Entry
from roastlog.journal.fold import fold_machine
from roastlog.journal.kinds.machine import plain_sheet
from roastlog.journal.subject import MACHINE, Subject
from roastlog.languages import _
from roastlog.machine.model import Machine, practice_machine
from roastlog.machine.sheet import parse_sheet, sheet_text
from roastlog.recording.entry_service import Speaker
from roastlog.recording.runtime import Runtime
from roastlog.store import machines as stored
from roastlog.store.journal import entries_about
from roastlog.store.machines import Described
from roastlog.store.store import Database, Store


class MachineService:
    """Stores the sheets of machines, and passes them to the runtime."""

    def __init__(self, store: Store, runtime: Runtime) -> None:
        self._store, self._runtime, self._entries = store, runtime, runtime.entry_service
        self._parsed: tuple[Described, tuple[Machine, ...]] = Described((), ()), ()

    def all(self) -> list[Machine]:
        """All running machines."""
        return self._runtime.machines()

    def get(self, machine_id: str) -> Machine:
        """One running machine; raises NoSuchMachine."""
        return self._runtime.live(machine_id).machine

    def kept(self) -> tuple[Machine, ...]:
        """All machines in the database, running or not. Their sheets are parsed only when they change."""
        described = stored.described(self._store.read)
        if described != self._parsed[0]:
            self._parsed = described, stored.parsed(described)
        return self._parsed[1]

    def practice_ids(self) -> tuple[str, ...]:
        """Ids of the practice machines, whose batches take no stock and are left out of lists."""
        return tuple(machine.id for machine in self.kept() if machine.practice)

    def add_practice(self, speaker: Speaker = Speaker()) -> Machine:  # noqa: B008 - frozen
        """Set up the simulated machine; an existing one is left as it is."""
        known = next((machine for machine in self.all() if machine.id == practice_machine().id), None)
        return known or self._set_up(practice_machine(), speaker)

    def change(self, machine: Machine, was: Machine | None, speaker: Speaker = Speaker()) -> None:  # noqa: B008 - frozen
        """Change the description of a machine and restart it with that.

        Raises
        ------
        SheetError
            If it is invalid, or is not a change of ``was`` any more: another page has changed that meanwhile.
        """
        self._set_up(machine, speaker, was)

    def add(self, sheet: str, speaker: Speaker = Speaker()) -> Machine:  # noqa: B008 - frozen
        """Set up the machine of a TOML sheet and start it; raises SheetError."""
        return self._set_up(parse_sheet(sheet), speaker)

    def keep_sheet(self, sheet: str, speaker: Speaker = Speaker()) -> Machine:  # noqa: B008 - frozen
        """Store a machine without starting it; the next server start does. Raises SheetError."""
        return self._keep(parse_sheet(sheet), speaker)

    def check_probe(self, machine_id: str, check: Mapping[str, Any], speaker: Speaker = Speaker()) -> None:  # noqa: B008
        """Store the check of a probe with its offset; raises SheetError."""
        try:
            self._entries.say(Subject(MACHINE, machine_id), "probe_checked", check, speaker)
        except EntryRefused as error:
            raise SheetError(error.args[0]) from None

    def sheet(self, machine_id: str) -> str:
        """The TOML sheet of a machine in the database, running or not; raises NoSuchMachine."""
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

    def _set_up(self, machine: Machine, speaker: Speaker, was: Machine | None = None) -> Machine:
        """Store a machine and start it; it restarts even where nothing has changed."""
        before = self._runtime.running_as(machine.id)
        machine = self._keep(machine, speaker, was)
        if self._runtime.running_as(machine.id) is before:  # no entry made the runtime reload it
            self._runtime.add(machine)
        return machine

    def _keep(self, machine: Machine, speaker: Speaker, was: Machine | None = None) -> Machine:
        known = next((kept for kept in self.kept() if kept.id == machine.id), None)
        if known is not None:
            machine = machine.with_passwords_of(known)

        def keep_passwords(db: Database) -> None:
            stored.keep_passwords(db, machine)

        if known is not None and plain_sheet(known) == plain_sheet(machine):  # at most a password has changed: no entry
            self._store.write(keep_passwords)
            return machine
        subject, body = Subject(MACHINE, machine.id), {"sheet": plain_sheet(machine)}

        def keep_beside(db: Database) -> None:
            if was is not None:
                _check_unchanged(was, entries_about(db.conn, subject)[:-1])
            keep_passwords(db)

        try:
            self._entries.say(subject, "set_up", body, speaker, keep_beside=keep_beside)
        except EntryRefused as error:
            raise SheetError(error.args[0]) from None
        return machine


def _check_unchanged(was: Machine, entries: Sequence[Entry]) -> None:
    """Refuse a change of a description that is not the present one: the other change would be lost."""
    now = fold_machine(entries, was.id).machine
    if now is not None and plain_sheet(now) != plain_sheet(was):
        raise SheetError(
            _(
                "{name} was changed on another page at the same time. Check that change, then make yours.",
                name=was.name,
            )
        )
