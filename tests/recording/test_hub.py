"""The hub: the events of each watcher, their order, and its independence of slow watchers."""

import json
import threading
import time
from collections.abc import Iterator

import pytest

from roastlog.recording import hub as hub_module
from roastlog.recording.hub import EVERY_S, ROWS_AGAIN, Event, Hub


class Watcher:
    """A watcher on its own thread until the hub closes."""

    def __init__(self, hub: Hub) -> None:
        self.events: list[Event] = []
        self.times_s: list[float] = []
        self.ended = threading.Event()
        before = hub.watchers
        threading.Thread(target=self._run, args=(hub,), daemon=True).start()
        until(lambda: hub.watchers > before)

    def _run(self, hub: Hub) -> None:
        for events in hub.watch():
            self.times_s += [time.monotonic() for event in events if event.name == "reading"]
            self.events += events
        self.ended.set()

    def named(self, name: str) -> list[dict]:
        """The payloads of events of one kind."""
        return [json.loads(event.data) for event in self.events if event.name == name]


def until(holds, stop_timeout_s: float = 20.0) -> None:
    """Wait until a condition holds."""
    end_s = time.monotonic() + stop_timeout_s
    while not holds():
        assert time.monotonic() < end_s, "it never came"
        time.sleep(0.005)


@pytest.fixture
def hub() -> Iterator[Hub]:
    """A hub, closed after the test."""
    hub = Hub()
    yield hub
    hub.close()


def row(second: int) -> dict[str, float | None]:
    """A finished second of the chart."""
    return {"t_s": second, "bean_probe": 100.0 + second}


def test_every_watcher_hears_every_entry_in_order(hub: Hub):
    """Ten watchers receive a thousand entries in bursts, each of them once, in order."""
    watchers = [Watcher(hub) for _ in range(10)]
    for burst in range(10):
        for number in range(burst * 100, burst * 100 + 100):
            hub.tell("entry", {"number": number}, seq=number + 1)
        until(lambda burst=burst: all(len(watcher.events) >= burst * 100 + 100 for watcher in watchers))
    for watcher in watchers:
        assert [payload["number"] for payload in watcher.named("entry")] == list(range(1000))
        assert [event.id for event in watcher.events] == list(range(1, 1001))


def test_the_id_of_an_event_is_the_number_of_the_last_entry(hub: Hub):
    """Every event after an entry carries its number, so that a page knows its state."""
    watcher = Watcher(hub)
    hub.tell("state", {})
    hub.tell("entry", {}, seq=7)
    hub.tell("outlook", {})
    hub.reading({"at_ms": 1}, [])
    until(lambda: len(watcher.events) == 4)
    assert [(event.name, event.id) for event in watcher.events] == [
        ("state", 0),
        ("entry", 7),
        ("outlook", 7),
        ("reading", 7),
    ]


def test_readings_are_thinned_out_and_the_newest_comes_through(hub: Hub):
    """A watcher receives readings every 0.25 s at most, and the last one is the newest."""
    watcher = Watcher(hub)
    for number in range(100):
        hub.reading({"number": number}, [])
        time.sleep(0.01)
    until(lambda: watcher.named("reading") and watcher.named("reading")[-1]["number"] == 99)
    numbers = [payload["number"] for payload in watcher.named("reading")]
    assert numbers == sorted(set(numbers))
    assert len(numbers) < 20
    gaps_s = [after - before for before, after in zip(watcher.times_s, watcher.times_s[1:], strict=False)]
    assert min(gaps_s) > EVERY_S * 0.9  # a lower bound: a slow computer only increases it


def test_no_chart_row_is_lost_when_readings_are_thinned_out(hub: Hub):
    """Rows collect until the next reading is sent, as columns of one length."""
    watcher = Watcher(hub)
    for second in range(60):
        hub.reading({}, [row(second)] if second % 2 else [])
        time.sleep(0.01)
    until(lambda: watcher.named("reading")[-1]["rows"] and watcher.named("reading")[-1]["rows"]["t_s"][-1] == 59)
    told = [payload["rows"] for payload in watcher.named("reading") if payload["rows"]]
    assert [second for rows in told for second in rows["t_s"]] == list(range(1, 60, 2))
    assert all(len(rows["t_s"]) == len(rows["bean_probe"]) for rows in told)


def test_the_first_rows_repeat_the_last_ones(hub: Hub):
    """A new watcher receives the last thirty rows again, and no older ones, so a new page misses none."""
    hub.reading({}, [row(second) for second in range(100)])
    watch = hub.watch()
    first = json.loads(next(watch)[-1].data)
    assert first["rows"]["t_s"] == list(range(100 - ROWS_AGAIN, 100))
    watch.close()


def test_entries_from_before_are_not_repeated(hub: Hub):
    """The page's own view contains earlier entries."""
    hub.tell("entry", {"number": 1}, seq=1)
    watcher = Watcher(hub)
    hub.tell("entry", {"number": 2}, seq=2)
    until(lambda: watcher.events)
    assert [payload["number"] for payload in watcher.named("entry")] == [2]


def test_dropped_rows_are_not_sent(hub: Hub):
    """After a moved charge the old rows are dropped."""
    hub.reading({}, [row(1), row(2)])
    hub.forget_rows()
    hub.reading({}, [row(5)])
    watch = hub.watch()
    assert json.loads(next(watch)[-1].data)["rows"]["t_s"] == [5]
    watch.close()


def test_closing_ends_all_watchers(hub: Hub):
    """Waiting watchers are woken, later ones end at once, and none is counted any more."""
    watchers = [Watcher(hub) for _ in range(20)]
    assert hub.watchers == 20
    hub.close()
    assert all(watcher.ended.wait(10) for watcher in watchers)
    until(lambda: hub.watchers == 0)
    assert list(hub.watch()) == []


def test_a_slow_watcher_delays_nobody(hub: Hub):
    """A sleeping phone keeps its place and delays nobody; its queue is limited."""
    hub.reading({}, [])
    sleeper = hub.watch()
    next(sleeper)
    watcher = Watcher(hub)
    for burst in range(20):
        for number in range(100):
            hub.tell("entry", {"number": burst * 100 + number}, seq=burst * 100 + number)
        hub.reading({"burst": burst}, [row(burst)])
        until(lambda burst=burst: len(watcher.named("entry")) == burst * 100 + 100)
    late = [json.loads(event.data)["number"] for event in next(sleeper) if event.name == "entry"]
    assert late == list(range(2000 - len(late), 2000))
    assert 0 < len(late) < 2000
    sleeper.close()


def test_a_silent_machine_causes_keep_alives(hub: Hub, monkeypatch: pytest.MonkeyPatch):
    """Each quiet interval gives an empty list; the stream sends it as a comment, to detect a client that has gone."""
    monkeypatch.setattr(hub_module, "IDLE_S", 0.02)
    watch = hub.watch()
    assert [next(watch) for _ in range(3)] == [[], [], []]
    watch.close()
    assert hub.watchers == 0
