"""The clock: set once, at any rate, without jumps."""

import sys
import threading
import time

import pytest

from roastlog import clock as module
from roastlog.clock import Clock, ticks_s


def test_a_step_of_the_wall_clock_moves_nothing(monkeypatch: pytest.MonkeyPatch):
    """While it runs, the computer's own clock may be set to anything."""
    clock = Clock()
    before_ms = clock.now_ms()
    monkeypatch.setattr(time, "time", lambda: 0.0)
    assert 0 <= clock.now_ms() - before_ms < 60_000
    assert Clock().now_ms() < 60_000


def test_it_counts_the_sleep_of_the_computer():
    """It uses a clock that does: on Linux the one since boot (man clock_gettime)."""
    if sys.platform == "linux":
        assert ticks_s() == pytest.approx(time.clock_gettime(time.CLOCK_BOOTTIME), abs=60)
    before_s = ticks_s()
    time.sleep(0.01)
    assert ticks_s() - before_s >= 0.01


def test_a_wall_clock_that_was_put_forward_is_followed_when_asked(monkeypatch: pytest.MonkeyPatch):
    """A computer without a battery clock starts in the past: once followed, dates are right. Never automatic."""
    clock = Clock()
    before_ms = clock.now_ms()
    wall_s = time.time() + 5000
    monkeypatch.setattr(time, "time", lambda: wall_s)
    assert clock.now_ms() - before_ms < 60_000
    assert clock.catch_up() == pytest.approx(5_000_000, abs=60_000)
    assert clock.now_ms() == pytest.approx(wall_s * 1000, abs=60_000)
    assert clock.catch_up() == 0


def test_a_wall_clock_that_was_put_back_is_not_followed(monkeypatch: pytest.MonkeyPatch):
    """Two moments of a record must not change their order; nor does it follow a clock one second ahead."""
    clock = Clock()
    before_ms, wall_s = clock.now_ms(), time.time()
    for by_s in (-5000, 1):
        monkeypatch.setattr(time, "time", lambda by_s=by_s: wall_s + by_s)
        assert clock.catch_up() == 0
        assert 0 <= clock.now_ms() - before_ms < 60_000


@pytest.mark.parametrize("clock", [Clock(20), Clock(wall_ms=1_000_000)])
def test_a_clock_of_its_own_follows_no_wall(clock: Clock):
    """The clock of a demo, and one with a given start, do not follow."""
    assert clock.catch_up() == 0


def test_it_begins_with_the_computers_time():
    """It starts with the computer's time in ms UTC, unless it is given another."""
    before_ms = time.time() * 1000
    now_ms = Clock().now_ms()
    assert before_ms - 1 <= now_ms <= time.time() * 1000 + 1
    assert 5_000 <= Clock(wall_ms=5_000).now_ms() < 65_000


def test_it_never_goes_back():
    """It never decreases, whatever the number of threads and calls."""
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
    """Its time in ten real seconds is ten times the rate."""
    passed_s = 100.0
    monkeypatch.setattr(module, "ticks_s", lambda: passed_s)
    clock = Clock(rate, wall_ms=1_000_000)
    passed_s = 110.0
    assert clock.now_ms() == 1_000_000 + 10_000 * rate


@pytest.mark.parametrize("rate", [0, -1, 1001, float("nan"), float("inf")])
def test_a_rate_that_cannot_be_is_refused(rate: float):
    """The message names the valid range."""
    with pytest.raises(ValueError, match=r"between 0\.01 and 1000"):
        Clock(rate)


def test_waiting_is_in_its_own_seconds():
    """A minute at a thousand times real time passes quickly; a past time returns at once."""
    stop = threading.Event()
    begun_s = time.monotonic()
    assert not Clock(1000).wait(stop, 60)
    assert time.monotonic() - begun_s >= 0.06
    assert not Clock().wait(stop, -5)


def test_waiting_ends_on_a_stop():
    """A stop ends the wait at once, and the result says so."""
    stop = threading.Event()
    stop.set()
    assert Clock().wait(stop, 3600)
