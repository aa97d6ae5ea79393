"""The server's clock: anchored to the wall clock once, then driven by a monotonic clock that includes sleep.

A step of the wall clock during a roast has no effect, and time is right after the computer slept. A demo may run its
clock faster than real time; all waiting uses the clock's own seconds, so the same code runs at any rate.
"""

import threading
import time
from typing import Final

AHEAD_MS: Final = 2000.0
"""Threshold of `Clock.catch_up`: a smaller lead of the wall clock is ignored. [ms]"""

# Python's monotonic clock stops while Linux or macOS sleeps. CLOCK_BOOTTIME of Linux and CLOCK_MONOTONIC of macOS do
# not (man clock_gettime of each). Windows has neither, and needs neither.
_SLEEPLESS: Final[int | None] = getattr(time, "CLOCK_BOOTTIME", getattr(time, "CLOCK_MONOTONIC", None))


def ticks_s() -> float:
    """Monotonic seconds from an arbitrary origin, including sleep of the computer."""
    return time.monotonic() if _SLEEPLESS is None else time.clock_gettime(_SLEEPLESS)


def wall_ms() -> int:
    """The computer's own time, which may be set at any moment. [ms UTC]"""
    return round(time.time() * 1000)


class Clock:
    """Monotonic UTC time in milliseconds.

    Parameters
    ----------
    rate
        Seconds of this clock per real second; 1 except in a faster demo.
    wall_ms
        Start time; defaults to the computer's clock. [ms UTC]
    """

    def __init__(self, rate: float = 1.0, *, wall_ms: int | None = None) -> None:
        if not 0.01 <= rate <= 1000:
            raise ValueError(f"The rate of a clock must be between 0.01 and 1000, not {rate}.")
        self.rate = rate
        self._follows = wall_ms is None and rate == 1
        self._wall_ms = time.time() * 1000 if wall_ms is None else wall_ms
        self._anchor_s = ticks_s()

    def now_ms(self) -> int:
        """UTC now. [ms]"""
        return int(self._wall_ms + (ticks_s() - self._anchor_s) * 1000 * self.rate)

    def catch_up(self) -> float:
        """Follow the wall clock if it was set forward, and return the step. Call it only between batches. [ms]

        A computer without a battery clock starts in the past and is set from the network. The clock never goes back,
        because moments of a record must keep their order. A faster demo clock is not changed.
        """
        ahead_ms = time.time() * 1000 - (self._wall_ms + (ticks_s() - self._anchor_s) * 1000)
        if not self._follows or ahead_ms < AHEAD_MS:
            return 0.0
        self._wall_ms += ahead_ms
        return ahead_ms

    def wait(self, stop: threading.Event, duration_s: float) -> bool:
        """Sleep ``duration_s`` of this clock's seconds, or until ``stop`` is set; returns whether it is set."""
        return stop.wait(max(0.0, duration_s) / self.rate)
