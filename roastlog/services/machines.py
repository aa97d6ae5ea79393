"""Machines: their sheets, added, changed and exported."""

import threading

from roastlog.clock import Clock
from roastlog.errors import NoSuchMachine, SheetError
from roastlog.languages import N_, _, said
from roastlog.machine.model import Machine, practice_machine
from roastlog.machine.sheet import parse_sheet, sheet_text
from roastlog.recording.runtime import Runtime
from roastlog.store import batches as lists
from roastlog.store import books
from roastlog.store.store import Store


class MachineService:
    """Keeps the sheets of machines, and hands each to the runtime that reads it."""

    def __init__(self, store: Store, clock: Clock, runtime: Runtime) -> None:
        self._store, self._clock, self._runtime = store, clock, runtime
        self._keeping = threading.Lock()
        self._kept: tuple[Machine, ...] | None = None

    def all(self) -> list[Machine]:
        """All machines that are read."""
        return self._runtime.machines()

    def get(self, machine_id: str) -> Machine:
        """One machine that is read; raises NoSuchMachine."""
        return self._runtime.live(machine_id).machine

    def kept(self) -> tuple[Machine, ...]:
        """All machines in the database, whether they are read or not. Their sheets are parsed once."""
        kept = self._kept
        if kept is None:
            with self._keeping:
                kept = self._kept = self._parsed()
        return kept

    def practice_ids(self) -> tuple[str, ...]:
        """Ids of the machines where nothing is real: their batches take no stock and are in no list."""
        return tuple(machine.id for machine in self.kept() if machine.practice)

    def add(self, sheet: str) -> Machine:
        """Set up the machine that a TOML sheet describes; raises SheetError."""
        machine = self.keep_sheet(sheet)
        self._runtime.add(machine)
        return machine

    def add_practice(self) -> Machine:
        """Set up the simulated machine; one that is there goes on as it is."""
        known = next((machine for machine in self.all() if machine.id == practice_machine().id), None)
        if known is not None:
            return known
        machine = self._keep(practice_machine())
        self._runtime.add(machine)
        return machine

    def change(self, machine: Machine) -> None:
        """Give a machine another sheet, and read it by that from now on."""
        self._runtime.add(self._keep(machine))

    def keep_sheet(self, sheet: str) -> Machine:
        """Put a machine into the database, to be read from the next start on; raises SheetError."""
        return self._keep(parse_sheet(sheet))

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

    def _parsed(self) -> tuple[Machine, ...]:
        return tuple(Machine.model_validate_json(sheet) for sheet in books.machine_sheets(self._store.read))

    def _keep(self, machine: Machine) -> Machine:
        known = next((kept for kept in self.kept() if kept.id == machine.id), None)
        if known is not None:
            machine = machine.with_passwords_of(known)
            self._check_practice_stays(known, machine)
        with self._keeping:
            self._store.write(
                lambda db: books.keep_machine(db, machine.id, machine.model_dump_json(), self._clock.now_ms())
            )
            self._kept = self._parsed()
        return machine

    def _check_practice_stays(self, known: Machine, machine: Machine) -> None:
        """Refuse to make roasted coffee of practice, or practice of roasted coffee."""
        if known.practice != machine.practice and lists.page_of(self._store.read, machine=known.id).total:
            raise SheetError(
                said(
                    N_(
                        "{name} has batches, and they are practice; that cannot change. "
                        "Set up another machine with an id of its own."
                    )
                    if known.practice
                    else N_(
                        "{name} has batches, and they are real; that cannot change. "
                        "Set up another machine with an id of its own."
                    ),
                    name=known.name,
                )
            )
