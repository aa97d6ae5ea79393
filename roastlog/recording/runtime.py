"""The desk: all machines that are set up, what each is roasting, and the one way that news of it goes out."""

import logging
import threading
from dataclasses import asdict
from functools import partial
from typing import Any, Final, Protocol, runtime_checkable
from uuid import UUID, uuid5

from roastlog.clock import Clock
from roastlog.errors import NoSuchMachine, StoreError
from roastlog.instruments.base import ReadFault, Reading
from roastlog.instruments.build import build_instruments
from roastlog.journal.entries import Entry
from roastlog.journal.fold import LONGEST_ROAST_S, fold
from roastlog.languages import N_, _
from roastlog.machine.model import Machine
from roastlog.recording.advice import LOOK_BACK_S, NOTHING, Advisor
from roastlog.recording.entry_service import EntryService, Speaker
from roastlog.recording.live_machine import LiveMachine, Turn
from roastlog.recording.live_view import batch_part, machine_part
from roastlog.recording.readers import LinkReader, LinkState
from roastlog.roasts.history import History, Rows
from roastlog.settings import Settings
from roastlog.store import batches as lists
from roastlog.store import books
from roastlog.store import journal as stored
from roastlog.store import readings as stored_readings
from roastlog.store.batches import BatchSummary
from roastlog.store.photos import photos_of
from roastlog.store.store import Store
from roastlog.threads import Repeater

log = logging.getLogger(__name__)
SAVE_S: Final = 0.5  # with the time that a commit takes on a busy computer, a reading is on the disk within a second
UNSAVED: Final = "Readings cannot be written; they are kept in memory and written when the disk returns"
FULL: Final = N_(
    "The disk does not take readings. They are kept in memory and written when it does; the page of today says why."
)
SILENT: Final = N_(
    "No reading has come for more than 5 s. Is the sender on? Taps still count: they are kept with their times."
)
SILENT_MS: Final = 5_000  # in real time, however fast a demo's clock runs
UNSEEN: Final = "No outlook can be made; readings and taps are kept all the same"
NAMESPACE: Final = UUID("5c1c8f4e-6f0e-4a53-9a5e-3d2b7a9c1f10")  # of moves read off machines; drawn once at random


@runtime_checkable
class Follower(Protocol):
    """A simulated instrument: it has no knobs of its own and goes by what is said."""

    def follow(self, kind: str, body: dict[str, Any]) -> None:
        """Do as a person at the machine would have done."""


class RunningMachine:
    """One machine while it runs: its live curve, its readers, its view and its advice."""

    def __init__(self, live: LiveMachine, advisor: Advisor, seq: int) -> None:
        self.live, self.advisor = live, advisor
        self.seq = seq
        self.lock = threading.Lock()
        self.readers: list[LinkReader] = []
        self.view: dict[str, Any] = {}
        self.coffee: str | None = None
        self.outlook: dict[str, Any] = NOTHING
        self.trouble = ""
        self.seer: Repeater | None = None


class Runtime:
    """Machines, recorder and intake, joined."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store, self._clock = store, clock
        self._places: dict[str, RunningMachine] = {}
        self._machines: dict[str, Machine] = {}
        self._adding = threading.Lock()
        self.entry_service = EntryService(store, clock, self._machines, knobs=self._knobs, heard=self.refresh)
        self.history = History(store, self._rows_between)
        self._saver = Repeater("saver", SAVE_S, self._save, UNSAVED)

    def start(self) -> None:
        """Set up the machines of the database, take up what was under way, and begin to read."""
        for sheet in books.machine_sheets(self._store.read):
            self.add(Machine.model_validate_json(sheet))
        self._saver.start()

    def add(self, machine: Machine) -> None:
        """Begin to read a machine; one with the same id is replaced, and goes on as it is if the disk fails."""
        with self._adding:
            old = self._places.get(machine.id)
            if old is not None:
                old.live.save()  # the new one takes its curve from the disk
            live = LiveMachine(machine, self._store, self._clock)
            place = RunningMachine(live, Advisor(machine, self.history), stored.last_seq(self._store.read))
            with place.lock:
                self._look(place)
            self._places[machine.id] = place
            self._machines[machine.id] = machine
            if old is not None:
                self._leave(old)
            for instrument, poll_s in build_instruments(machine, self._clock):
                reader = LinkReader(live, instrument, poll_s, self._clock, changed=partial(self._tell_state, place))
                place.readers.append(reader)
                reader.start()
            # A thread a machine: what fails for one, or takes its time, is no matter of another's.
            place.seer = Repeater(f"seer of {machine.id}", 1.0, partial(self._foresee, place), UNSEEN)
            place.seer.start()

    def close(self) -> None:
        """Stop reading, save what there is, and let all watchers go."""
        with self._adding:
            for place in self._places.values():
                self._leave(place)
        self._saver.stop()

    def machines(self) -> list[Machine]:
        """All machines, in the order they were added."""
        return list(self._machines.values())

    def live(self, machine_id: str) -> LiveMachine:
        """One machine while it runs."""
        return self._place(machine_id).live

    def view(self, machine_id: str) -> dict[str, Any]:
        """What a live page of the machine shows; see `roastlog.recording.live_view`."""
        place = self._place(machine_id)
        with place.lock:
            self._look(place)
            return place.view

    def links(self, machine_id: str) -> list[LinkState]:
        """How the machine's instruments are."""
        return [reader.link for reader in self._place(machine_id).readers]

    def heard(self, machine_id: str) -> dict[str, Reading | ReadFault]:
        """What the machine's instruments said last, by channel and control, before the channel's own offset."""
        return {name: item for reader in self._place(machine_id).readers for name, item in reader.heard().items()}

    def refresh(self, machine_id: str) -> None:
        """Take in what is new in the machine's journal and tell all watchers, in the order it came."""
        place = self._place(machine_id)
        with place.lock:
            while fresh := stored.entries_after(self._store.read, machine_id, place.seq):
                place.seq = fresh[-1][0]
                self._look(place)
                for seq, entry in fresh:
                    self._follow(place, entry)
                    told = entry.model_dump(mode="json")
                    place.live.hub.tell("entry", {"entry": {**told, "seq": seq}, "view": place.view}, seq=seq)

    def photo_came(self, name: str) -> None:
        """Tell all watchers that a photo is here: those that show an entry with its name show it from now on."""
        for place in list(self._places.values()):
            place.live.hub.tell("photo", {"name": name})

    def foresee(self) -> None:
        """Make the outlook, heads-ups and suggestions of all machines anew, and tell those that are news."""
        for place in list(self._places.values()):
            self._foresee(place)

    def _foresee(self, place: RunningMachine) -> None:
        self._note_trouble(place)
        outlook = self._foreseen(place)
        with place.lock:
            if outlook != place.outlook:
                place.outlook = outlook
                place.view["outlook"] = outlook
                place.live.hub.tell("outlook", outlook)

    def _place(self, machine_id: str) -> RunningMachine:
        place = self._places.get(machine_id)
        if place is None:
            there = ", ".join(self._places) or _("none yet")
            raise NoSuchMachine(
                _("There is no machine “{machine_id}” here; there is {there}.", machine_id=machine_id, there=there)
            )
        return place

    def _leave(self, place: RunningMachine) -> None:
        for thread in (*place.readers, place.seer):
            if thread is not None:
                thread.stop()
        place.live.close()
        try:
            place.live.save()
        except StoreError:
            log.exception("The last readings of %s cannot be written and are lost", place.live.machine.name)

    def _look(self, place: RunningMachine) -> None:
        """Find out which batch the machine is at, and make its view. The place's lock is held."""
        now_ms = self._clock.now_ms()
        live, machine = place.live, place.live.machine
        current, waiting = self._current(machine.id, now_ms)
        batch = None
        if current is not None:
            batch = fold(stored.entries_of(self._store.read, current.code), current.code)
        live.follow(batch, now_ms)
        if current is not None and current.code in {waited["code"] for waited in place.view.get("waiting", ())}:
            live.turn_anew(now_ms)  # what was turned while it waited went to the batch before it
        place.view = {
            "seq": place.seq,
            "now_ms": now_ms,
            **machine_part(machine),
            "batch": None,
            "waiting": [{"code": other.code, "title": other.title} for other in waiting],
            **_state(place),
            "outlook": place.outlook,
        }
        place.coffee = None if current is None else current.coffee
        if batch is not None and current is not None:
            columns = {
                name: [float("nan") if value is None else value for value in column]
                for name, column in live.columns().items()
            }
            place.view["batch"] = batch_part(
                machine, batch, current, columns, live.value_at, now_ms, photos_of(self._store.read, batch.photos)
            )

    def _current(self, machine_id: str, now_ms: int) -> tuple[BatchSummary | None, list[BatchSummary]]:
        """What the machine is at: the batch in the drum, else the next one, else the last one that left it."""
        busy = lists.under_way(self._store.read, machine_id)
        roasting = [
            batch
            for batch in busy
            if batch.charged_ms is not None and abs(now_ms - batch.charged_ms) <= 1000 * LONGEST_ROAST_S
        ]
        waiting = [batch for batch in busy if batch.charged_ms is None]
        if roasting:
            return max(roasting, key=lambda batch: batch.charged_ms or 0), waiting
        last = lists.last_dropped(self._store.read, machine_id)
        if waiting and (last is None or waiting[-1].opened_ms >= last.opened_ms):
            return waiting[-1], waiting[:-1]
        return last, waiting

    def _follow(self, place: RunningMachine, entry: Entry) -> None:
        for reader in place.readers:
            if isinstance(reader.instrument, Follower):
                reader.instrument.follow(entry.kind, entry.body)

    def _tell_state(self, place: RunningMachine) -> None:
        place.live.hub.tell("state", _state(place))

    def _note_trouble(self, place: RunningMachine) -> None:
        """What ails the recording of a machine beside its links; told when that is news."""
        lost = any(reader.link.state == "lost" for reader in place.readers)
        found = FULL if self._store.failing else SILENT if not lost and _is_silent(place.live, self._clock) else ""
        if found != place.trouble:
            place.trouble = found
            self._tell_state(place)

    def _foreseen(self, place: RunningMachine) -> dict[str, Any]:
        """What can be said of the batch at a machine. It takes its time and holds up nobody."""
        live, batch, coffee = place.live, place.live.batch, place.coffee
        if batch is not None and batch.state == "roasting":
            settings = Settings.of(books.settings(self._store.read))
            advice = place.advisor.roasting(
                batch,
                coffee,
                live.columns(),
                thresholds=settings.thresholds,
                now_ms=self._clock.now_ms(),
                temp_unit=settings.units_temp,
            )
        elif batch is not None and batch.state == "open" and "charge" not in batch.moments:
            now_ms = self._clock.now_ms()
            advice = place.advisor.waiting(live.rows_between(now_ms - 1000 * LOOK_BACK_S, now_ms), now_ms)
        else:
            advice = NOTHING
        return advice

    def _rows_between(self, machine_id: str, start_ms: int, end_ms: int) -> Rows:
        """Readings of a machine, of one too that was taken away."""
        if machine_id in self._places:
            return self.live(machine_id).rows_between(start_ms, end_ms)
        return stored_readings.rows_between(self._store.read, machine_id, start_ms, end_ms)

    def _knobs(self, machine_id: str) -> dict[str, float]:
        return self._place(machine_id).live.knobs

    def _save(self) -> None:
        places = list(self._places.values())
        for place in places:
            place.live.save()
        for place in places:
            self._note_turns(place)

    def _note_turns(self, place: RunningMachine) -> None:
        """A control that was turned on the machine itself is a move of the batch in it."""
        turns = place.live.turns()
        batch = place.live.batch
        if batch is None or batch.state not in {"open", "roasting"} or batch.code is None or batch.opened is None:
            return
        settings, moved = dict(batch.settings), []
        for turn in turns:
            # What was turned before the batch was opened is in the settings that it began with.
            if settings.get(turn.control) != turn.setting and turn.at_ms >= batch.opened.received_ms:
                settings[turn.control] = turn.setting
                moved.append(_move(batch.code, place.live.machine.id, turn))
        if moved:
            try:
                self.entry_service.accept(moved, Speaker(place.live.machine.id))
            except StoreError:
                place.live.note_again(turns)  # they are moves all the same when the disk returns
                raise


def _state(place: RunningMachine) -> dict[str, Any]:
    return {"links": [asdict(reader.link) for reader in place.readers], "trouble": place.trouble}


def _is_silent(live: LiveMachine, clock: Clock) -> bool:
    """Whether a machine that roasts was not heard for long, by senders that have no link here to be lost."""
    if live.batch is None or live.batch.state != "roasting" or live.last_reading_ms is None:
        return False
    if all(channel.source == "hand" for channel in live.machine.channels):
        return False  # a person reads now and then
    return (clock.now_ms() - live.last_reading_ms) / clock.rate > SILENT_MS


def _move(code: str, machine_id: str, turn: Turn) -> dict[str, Any]:
    """A turn as the entry that the machine makes of it."""
    return {
        "id": str(uuid5(NAMESPACE, f"{code} {turn.control} {turn.at_ms}")),
        "machine": machine_id,
        "batch": code,
        "kind": "move",
        "at_ms": turn.at_ms,
        "body": {"control": turn.control, "setting": turn.setting},
    }
