"""One running machine: its readers, its live view and the events for its watchers."""

import threading
from collections.abc import Callable
from contextvars import Context
from dataclasses import replace
from typing import Final, TypeVar

from roastlog.clock import Clock
from roastlog.machine.model import Machine
from roastlog.machine.views import MachineView, channel_views, control_views
from roastlog.recording.advice import LOOK_BACK_S, NO_ADVICE, AdviceView, Advisor
from roastlog.recording.current_batch import current_batch
from roastlog.recording.live_machine import LiveMachine
from roastlog.recording.live_view import BatchView, LineViews, LiveView, StateView, WaitingView, batch_view
from roastlog.recording.readers import MachineReaders
from roastlog.recording.trouble import recording_trouble
from roastlog.recording.view_changes import Differences, differences, flush_event
from roastlog.roasts.history import History
from roastlog.settings import Settings
from roastlog.store import books
from roastlog.store import journal as stored
from roastlog.store.photos import photos_of
from roastlog.store.store import Store
from roastlog.threads import Repeater, Responder

T = TypeVar("T")
ADVICE_S: Final = 1.0
NO_VIEW: Final = "Open pages do not get new entries; the entries are saved"
NO_OUTLOOK: Final = "The forecast failed; readings and taps are saved"


class RunningMachine:
    """One running machine: its readings, its view and its advice.

    It keeps the view last published to watchers; a flush of entries is sent as the changes to that view.
    """

    def __init__(self, machine: Machine, store: Store, clock: Clock, history: History) -> None:
        self.machine = machine
        self.live = LiveMachine(machine, store, clock)
        self.readers = MachineReaders(self.live, clock, changed=self._tell_state)
        self._store, self._clock, self._history = store, clock, history
        self._advisor = Advisor(machine, history)
        # A thread per machine: a failure or a delay on one does not affect another.
        self.advice_thread = Repeater(f"advice on {machine.id}", ADVICE_S, self.update_advice, NO_OUTLOOK)
        self._publisher = Responder(f"view of {machine.id}", self.refresh, NO_VIEW)
        self._lock = threading.Lock()  # guards the attributes below: one thread at a time makes and publishes a view
        self._seq = stored.last_seq(store.read)
        self._advice = NO_ADVICE
        self._trouble = ""
        self._coffee: str | None = None
        self._waiting: frozenset[str] = frozenset()
        self._line_views = LineViews()
        with self._lock:
            self._published_view = self._new_view()
        self._differing = Differences()  # between the published view and views that `view` returned since

    def start(self) -> None:
        """Start the readers and the advice thread."""
        self.readers.start()
        self._publisher.start()
        self.advice_thread.start()

    def stop(self) -> None:
        """Stop reading and disconnect all watchers; unsaved readings must still be saved."""
        self.readers.stop()
        self._publisher.stop()
        self.advice_thread.stop()
        self.live.close()

    def view(self) -> LiveView:
        """The live view as it is now."""
        with self._lock:
            view = self._new_view()
            self._differing |= differences(self._published_view, view)
            return view

    def refresh_soon(self) -> None:
        """Have new entries of the machine's journal processed; whoever entered them does not wait for that."""
        self._publisher.prompt()

    def refresh(self) -> None:
        """Process new entries of the machine's journal, and send watchers the changes of the view in one event."""
        with self._lock:
            while fresh := stored.entries_after(self._store.read, self.machine.id, self._seq):
                old, self._seq = self._published_view, fresh[-1][0]
                self._published_view = new = self._new_view()
                changes = self._differing | differences(old, new)
                self._differing = Differences()
                self.readers.follow([entry for _, entry in fresh])
                self.live.hub.tell("entry", flush_event(old, new, changes, fresh), seq=self._seq)

    def update_advice(self) -> None:
        """Recompute the advice and the recording trouble, and send whichever changed."""
        trouble = recording_trouble(self._store, self.live, self.readers.links, self._clock)
        if trouble != self._trouble:
            self._trouble = trouble
            self._tell_state()
        advice = self._new_advice()
        with self._lock:
            if advice != self._advice:
                self._advice = advice
                self._published_view = replace(self._published_view, outlook=advice)
                self.live.hub.tell("outlook", advice)

    def _tell_state(self) -> None:
        self.live.hub.tell("state", StateView(self.readers.links, self._trouble))

    def _new_view(self) -> LiveView:
        """The view of the current batch, made now. The lock is held."""
        return _without_language(self._make_view)

    def _make_view(self) -> LiveView:
        now_ms = self._clock.now_ms()
        current = current_batch(self._store, self.machine.id, now_ms)
        waited, self._waiting = self._waiting, frozenset(other.code for other in current.waiting)
        batch: BatchView | None = None
        if current.batch is None:
            self._coffee = None
            self.live.follow(None, now_ms)
        else:
            self._coffee = current.batch.coffee
            folded = self._history.batch(current.batch.code)
            self.live.follow(folded, now_ms)
            if current.batch.code in waited:
                self.live.controls.turn_all(now_ms)  # turns while it waited went to the batch before it
            photos = photos_of(self._store.read, folded.photos)
            batch = batch_view(
                self.machine,
                folded,
                current.batch.title,
                self.live.columns(),
                self.live.value_at,
                now_ms,
                photos,
                self._line_views,
            )
        return LiveView(
            seq=self._seq,
            now_ms=now_ms,
            machine=MachineView.of(self.machine),
            channels=channel_views(self.machine.channels),
            controls=control_views(self.machine.controls),
            batch=batch,
            waiting=tuple(WaitingView(other.code, other.title) for other in current.waiting),
            links=self.readers.links,
            trouble=self._trouble,
            outlook=self._advice,
        )

    def _new_advice(self) -> AdviceView:
        """The advice on the current batch. It may be slow, so the lock is not held."""
        live, batch = self.live, self.live.batch
        if batch is not None and batch.state == "roasting":
            settings = Settings.of(books.settings(self._store.read))
            return self._advisor.roasting(
                batch,
                self._coffee,
                live.columns(),
                thresholds=settings.thresholds,
                now_ms=self._clock.now_ms(),
                temp_unit=settings.units_temp,
            )
        if batch is not None and batch.state == "open" and "charge" not in batch.moments:
            now_ms = self._clock.now_ms()
            return self._advisor.waiting(live.rows_between(now_ms - 1000 * LOOK_BACK_S, now_ms), now_ms)
        return NO_ADVICE


def _without_language(make: Callable[[], T]) -> T:
    """Call ``make`` outside of any request's language, so that views made for different requests compare equal."""
    return Context().run(make)
