"""All machines while the server runs: started, replaced and stopped, and their readings saved."""

import logging
import threading
from collections.abc import Mapping
from typing import Final

from roastlog.clock import Clock
from roastlog.errors import NoSuchMachine, StoreError
from roastlog.instruments.base import ReadFault, Reading
from roastlog.languages import _
from roastlog.machine.model import Machine
from roastlog.recording.control_moves import keep_moves
from roastlog.recording.entry_service import EntryService
from roastlog.recording.live_machine import LiveMachine
from roastlog.recording.live_view import LiveView
from roastlog.recording.readers import LinkState
from roastlog.recording.running_machine import RunningMachine
from roastlog.roasts.history import History, Rows
from roastlog.store import machines as kept_machines
from roastlog.store import readings as stored_readings
from roastlog.store.store import Store
from roastlog.threads import Repeater

log = logging.getLogger(__name__)
SAVE_S: Final = 0.5  # so that a reading is on disk within a second even where a commit is slow
LATE_SAVE_S: Final = 5.0  # those that the disk refused when they came
UNSAVED: Final = "Readings cannot be written; they are kept in memory and written when the disk returns"


class Runtime:
    """The running machines and the entry service that feeds them."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store, self._clock = store, clock
        self._running: dict[str, RunningMachine] = {}
        self._machines: dict[str, Machine] = {}
        self._adding = threading.Lock()
        self._recording = False
        self.entry_service = EntryService(
            store,
            clock,
            self._machines,
            control_settings=self._control_settings,
            on_entries=self._refresh_soon,
            on_description=self._reload,
        )
        self.history = History(store, self._rows_between)
        self._saver = Repeater("saver", SAVE_S, self._save, UNSAVED)
        self._late_saver = Repeater("saver of late readings", LATE_SAVE_S, self._save_late, UNSAVED)

    def start(self) -> None:
        """Start the machines of the database with their batches under way, and begin reading."""
        self._recording = True
        for machine in kept_machines.machines(self._store.read):
            self.add(machine)
        self._saver.start()
        self._late_saver.start()

    def add(self, machine: Machine) -> None:
        """Begin reading a machine; it replaces one with the same id, which runs on if the disk fails."""
        with self._adding:
            old = self._running.get(machine.id)
            if old is not None:
                old.live.save()  # the new one loads its curve from the disk
            running = RunningMachine(machine, self._store, self._clock, self.history)
            self._running[machine.id], self._machines[machine.id] = running, machine
            if old is not None:
                self._stop(old)
            running.start()
            if old is not None:
                running.live.reread()  # the old one took readings until it was stopped

    def running_as(self, machine_id: str) -> Machine | None:
        """The description that a machine runs with; None where it does not run."""
        return self._machines.get(machine_id)

    def _reload(self, machine_id: str) -> None:
        """Restart a machine whose description in the database has changed."""
        machine = kept_machines.machine(self._store.read, machine_id) if self._recording else None
        if machine is not None and machine != self._machines.get(machine_id):
            self.add(machine)

    def close(self) -> None:
        """Stop reading, save unsaved readings, and disconnect all watchers."""
        with self._adding:
            for running in self._running.values():
                self._stop(running)
        self._saver.stop()
        self._late_saver.stop()

    def machines(self) -> list[Machine]:
        """All machines, in the order they were added."""
        return list(self._machines.values())

    def running(self, machine_id: str) -> RunningMachine:
        """One running machine; raises NoSuchMachine."""
        running = self._running.get(machine_id)
        if running is None:
            there = ", ".join(self._running) or _("none yet")
            raise NoSuchMachine(
                _("There is no machine “{machine_id}” here; there is {there}.", machine_id=machine_id, there=there)
            )
        return running

    def live(self, machine_id: str) -> LiveMachine:
        """The live readings of one machine."""
        return self.running(machine_id).live

    def view(self, machine_id: str) -> LiveView:
        """The live view of the machine: all that its page shows besides the numbers."""
        return self.running(machine_id).view()

    def links(self, machine_id: str) -> tuple[LinkState, ...]:
        """States of the machine's instrument links."""
        return self.running(machine_id).readers.links

    def last_read(self, machine_id: str) -> dict[str, Reading | ReadFault]:
        """Last reading or fault of each channel and control, before the channel's offset."""
        return self.running(machine_id).readers.last_read()

    def refresh(self, machine_id: str) -> None:
        """Process new entries of the machine's journal and notify all watchers."""
        self.running(machine_id).refresh()

    def _refresh_soon(self, machine_id: str) -> None:
        self.running(machine_id).refresh_soon()

    def photo_came(self, name: str) -> None:
        """Notify all watchers that a photo has arrived, so that pages show it."""
        for running in list(self._running.values()):
            running.live.hub.tell("photo", {"name": name})

    def update_advice(self) -> None:
        """Recompute the advice on all machines and send it where it changed."""
        for running in list(self._running.values()):
            running.update_advice()

    def _stop(self, running: RunningMachine) -> None:
        running.stop()
        try:
            running.live.save()
        except StoreError:
            log.exception("The last readings of %s cannot be written and are lost", running.machine.name)

    def _rows_between(self, machine_id: str, start_ms: int, end_ms: int) -> Rows:
        """Readings of a machine, including one that was removed."""
        if machine_id in self._running:
            return self.live(machine_id).rows_between(start_ms, end_ms)
        return stored_readings.rows_between(self._store.read, machine_id, start_ms, end_ms)

    def _control_settings(self, machine_id: str) -> Mapping[str, float]:
        return self.live(machine_id).controls.settings

    def _save(self) -> None:
        machines = list(self._running.values())
        for running in machines:
            running.live.save_fresh()
        for running in machines:
            keep_moves(running.live, self.entry_service)

    def _save_late(self) -> None:
        for running in list(self._running.values()):
            running.live.save_late()
