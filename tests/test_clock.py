"""The clock: anchored once, at any rate, never jumping."""

import threading
import time

import pytest

from roastlog.clock import Clock


def test_a_step_of_the_wall_clock_moves_nothing(monkeypatch: pytest.MonkeyPatch):
    """Once it runs, the computer's own clock may be set to anything."""
    clock = Clock()
    before_ms = clock.now_ms()
    monkeypatch.setattr(time, "time", lambda: 0.0)
    assert 0 <= clock.now_ms() - before_ms < 60_000
    assert Clock().now_ms() < 60_000


def test_it_begins_with_the_computers_time():
    """In milliseconds UTC, unless it is told another moment."""
    before_ms = time.time() * 1000
    now_ms = Clock().now_ms()
    assert before_ms - 1 <= now_ms <= time.time() * 1000 + 1
    assert 5_000 <= Clock(wall_ms=5_000).now_ms() < 65_000


def test_it_never_goes_back():
    """However often it is asked, by however many."""
    clock, seen = Clock(1000), []

    def ask() -> None:
        times = [clock.now_ms() for _ in range(2000)]
        seen.append(times == sorted(times))

    threads = [threading.Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert seen == [True] * 4


@pytest.mark.parametrize("rate", [0.5, 1, 10, 1000])
def test_its_seconds_pass_at_its_rate(rate: float, monkeypatch: pytest.MonkeyPatch):
    """Ten real seconds are ten times the rate."""
    monotonic_s = 100.0
    monkeypatch.setattr(time, "monotonic", lambda: monotonic_s)
    clock = Clock(rate, wall_ms=1_000_000)
    monotonic_s = 110.0
    assert clock.now_ms() == 1_000_000 + 10_000 * rate


@pytest.mark.parametrize("rate", [0, -1, 1001, float("nan"), float("inf")])
def test_a_rate_that_cannot_be_is_refused(rate: float):
    """With the range that can."""
    with pytest.raises(ValueError, match=r"between 0\.01 and 1000"):
        Clock(rate)


def test_waiting_is_in_its_own_seconds():
    """A minute at a thousand times real time is over soon; a time that is past is not waited for."""
    stop = threading.Event()
    begun_s = time.monotonic()
    assert not Clock(1000).wait(stop, 60)
    assert time.monotonic() - begun_s >= 0.06
    assert not Clock().wait(stop, -5)


def test_waiting_ends_when_told_to_stop():
    """At once, and it says so."""
    stop = threading.Event()
    stop.set()
    assert Clock().wait(stop, 3600)
