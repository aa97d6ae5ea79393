"""Machines: setting them up, what they are doing, and what comes in for them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from roastlog.clock import Clock
from roastlog.errors import NoSuchMachine, SheetError
from roastlog.instruments.base import ReadFault, Reading
from roastlog.instruments.trial import Trial, try_channel
from roastlog.journal.entries import parse_entry
from roastlog.languages import N_, _, said
from roastlog.machine.model import Channel, Machine, bean_channel, practice_machine
from roastlog.machine.sheet import parse_sheet, sheet_text
from roastlog.recording.entry_service import Result, Speaker
from roastlog.recording.hub import Hub
from roastlog.recording.live_machine import NEAR_S
from roastlog.recording.push import Pushed, take_push
from roastlog.recording.runtime import Runtime
from roastlog.services.books import Books
from roastlog.store import batches as lists
from roastlog.store import books
from roastlog.store import journal as stored
from roastlog.store import readings as stored_readings
from roastlog.store.store import Database


@dataclass(frozen=True)
class MachineNow:
    """A machine on the page of today."""

    id: str
    name: str
    state: str
    batch_code: str | None
    batch_title: str | None
    time_s: float | None
    temp_c: float | None
    rate_c_per_min: float | None
    practice: bool = False


class Machines(Books):
    """The machines of one data folder, read while the server runs."""

    def __init__(self, folder: Path, clock: Clock) -> None:
        super().__init__(folder, clock)
        self.runtime = Runtime(self.store, clock)

    def start(self) -> None:
        """Begin to record."""
        self.runtime.start()

    def close(self) -> None:
        """Stop recording; all that was read is on the disk when this returns."""
        self.runtime.close()
        self.store.close()

    def machines(self) -> list[Machine]:
        """All machines."""
        return self.runtime.machines()

    def machine(self, machine_id: str) -> Machine:
        """One machine; raises NoSuchMachine."""
        return self.runtime.live(machine_id).machine

    def add_machine(self, sheet: str) -> Machine:
        """Set up the machine that a TOML sheet describes; raises SheetError."""
        machine = self.keep_sheet(sheet)
        self.runtime.add(machine)
        return machine

    def add_practice_machine(self) -> Machine:
        """Set up the simulated machine; one that is there goes on as it is."""
        known = next((machine for machine in self.machines() if machine.id == practice_machine().id), None)
        if known is not None:
            return known
        machine = self._keep(practice_machine())
        self.runtime.add(machine)
        return machine

    def keep_sheet(self, sheet: str) -> Machine:
        """Put a machine into the database, to be read from the next start on; raises SheetError."""
        return self._keep(parse_sheet(sheet))

    def kept_sheet(self, machine_id: str) -> str:
        """The sheet of a machine in the database, whether it is read or not; raises NoSuchMachine."""
        kept = [Machine.model_validate_json(sheet) for sheet in books.machine_sheets(self.store.read)]
        for machine in kept:
            if machine.id == machine_id:
                return sheet_text(machine)
        there = ", ".join(machine.id for machine in kept) or _("none yet")
        raise NoSuchMachine(
            _(
                "There is no machine “{machine_id}” in this folder; there is {there}.",
                machine_id=machine_id,
                there=there,
            )
        )

    def change_machine(self, machine: Machine) -> None:
        """Give a machine another sheet, and read it by that from now on."""
        self.runtime.add(self._keep(machine))

    def heard(self, machine_id: str) -> dict[str, Reading | ReadFault]:
        """What came last of each channel and control before its own offset, or why nothing did; pushed ones as well."""
        live, heard = self.runtime.live(machine_id), self.runtime.heard(machine_id)
        now = live.now()
        for channel in live.machine.channels:
            if channel.id not in heard and channel.id in now["values"]:
                value = round(now["values"][channel.id] - channel.offset_c, 4)
                heard[channel.id] = Reading(live.heard_ms(channel.id), channel.id, value)
        return heard

    def try_part(self, machine: Machine, name: str) -> Trial:
        """Read one channel or control once, as ``machine`` describes it; see `roastlog.instruments.trial`.

        What the recorder reads in just that way is answered by what it heard: a serial port has one reader.
        """
        running = next((known for known in self.machines() if known.id == machine.id), None)
        if running is not None:
            part, known = machine.part(name), running.part(name)
            heard = self.heard(machine.id).get(name)
            if heard is not None and part is not None and known is not None and part.read_as(known):
                offset_c = part.offset_c if isinstance(part, Channel) else 0.0
                if isinstance(heard, Reading):
                    return Trial(heard.raw, round(heard.value + offset_c, 4), "")
                return Trial(heard.raw, None, heard.reason)
        return try_channel(machine, name, self.clock)

    def at_rest(self, machine_id: str, channel_id: str, *, for_s: float = 10.0) -> list[float]:
        """What a channel read in the last seconds, without its offset; to check its probe. [°C]"""
        live, now_ms = self.runtime.live(machine_id), self.now_ms()
        offset_c = next((channel.offset_c for channel in live.machine.channels if channel.id == channel_id), 0.0)
        start_ms = max(now_ms - round(for_s * 1000 * self.clock.rate), live.since_ms)
        rows = live.rows_between(start_ms, now_ms)
        return [round(values[channel_id] - offset_c, 4) for _, values in rows if channel_id in values]

    def rows_since(self, machine_id: str, start_ms: int) -> list[tuple[int, Mapping[str, float]]]:
        """What a machine read from a time on, oldest first. [ms UTC]"""
        return self.runtime.live(machine_id).rows_between(start_ms, self.now_ms())

    def sheet(self, machine_id: str) -> str:
        """The machine's TOML sheet."""
        return sheet_text(self.machine(machine_id))

    def _keep(self, machine: Machine) -> Machine:
        for sheet in books.machine_sheets(self.store.read):
            known = Machine.model_validate_json(sheet)
            if known.id == machine.id:
                machine = machine.with_passwords_of(known)
                self._stays_what_it_was(known, machine)
        self.store.write(lambda db: books.keep_machine(db, machine.id, machine.model_dump_json(), self.now_ms()))
        return machine

    def _stays_what_it_was(self, known: Machine, machine: Machine) -> None:
        """Refuse to make roasted coffee of practice, or practice of roasted coffee."""
        if known.practice != machine.practice and lists.page_of(self.store.read, machine=known.id).total:
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

    def machine_now(self, machine_id: str) -> MachineNow:
        """The numbers of one machine at this moment."""
        live = self.runtime.live(machine_id)
        now, batch = live.now(), live.batch
        bean = bean_channel(live.machine)
        summary = None if batch is None or batch.code is None else lists.summary(self.store.read, batch.code)
        busy = batch is not None and batch.state in {"open", "roasting", "cooling"}
        quiet_s = (self.now_ms() - (now["at_ms"] or 0)) / 1000
        state = batch.state if batch is not None and busy else "idle"
        heard = quiet_s < NEAR_S * 2 * self.clock.rate
        return MachineNow(
            id=machine_id,
            name=live.machine.name,
            state=state if heard else _("no readings"),
            batch_code=summary.code if summary and busy else None,
            batch_title=summary.title if summary and busy else None,
            time_s=now["time_s"] if state == "roasting" else None,
            temp_c=now["values"].get(bean) if heard else None,
            rate_c_per_min=now["rates"].get(bean, {}).get("rate") if heard else None,
            practice=live.machine.practice,
        )

    def view(self, machine_id: str) -> dict[str, Any]:
        """What a live page shows; see `roastlog.recording.live_view`."""
        return self.runtime.view(machine_id)

    def hub(self, machine_id: str) -> Hub:
        """Where to watch a machine."""
        return self.runtime.live(machine_id).hub

    def accept_entries(self, raws: Sequence[object], speaker: Speaker = Speaker()) -> list[Result]:  # noqa: B008
        """Keep journal entries; see `roastlog.recording.entry_service.EntryService.accept`."""
        return self.runtime.entry_service.accept(raws, speaker)

    def accept_readings(self, machine_id: str, payload: object) -> Pushed:
        """Take in readings that were pushed; see `roastlog.recording.push.take_push`."""
        pushed = take_push(self.runtime.live(machine_id), payload, self.clock)
        if pushed.late:
            self.runtime.history.forget()
        return pushed

    def entries_after(self, machine_id: str, seq: int) -> tuple[list[dict[str, Any]], int]:
        """What came in for a machine after ``seq``, and the number of the last of it."""
        self.machine(machine_id)
        found = stored.entries_after(self.store.read, machine_id, seq)
        told = [{**entry.model_dump(mode="json"), "seq": number} for number, entry in found]
        return told, found[-1][0] if found else seq

    def import_batch(self, raws: Sequence[Mapping[str, Any]], rows: Sequence[stored_readings.ReadingRow]) -> str:
        """Keep a whole batch that happened elsewhere, its `opened` entry first, with its readings; its code."""
        opened, *rest = [parse_entry(dict(raw), received_ms=raw["at_ms"]) for raw in raws]

        def change(db: Database) -> str:
            stored_readings.add_rows(db, opened.machine, rows)
            return stored.add_many(db, [(opened, rest)])[0]

        return self.store.write(change)

    def health(self) -> tuple[dict[str, Any], bool]:
        """Whether it can record, and how each machine is."""
        machines = []
        for machine in self.machines():
            live, links = self.runtime.live(machine.id), self.runtime.links(machine.id)
            states = [link.state for link in links]
            state = "lost" if "lost" in states else "starting" if "starting" in states else "ok"
            machines.append({"id": machine.id, "state": state, "last_reading_at_ms": live.last_reading_ms})
        trouble = self.store.trouble()
        if trouble is not None:
            reason = str(trouble).partition("\n")[0]  # folders and commands are not for everyone
            return {"status": "failing", "reason": reason, "machines": machines}, False
        return {"status": "ok", "machines": machines}, True
