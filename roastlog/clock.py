"""The server's clock: anchored to the wall once, then carried by a clock that never jumps and that counts sleep too.

A step of the wall clock in mid-roast moves nothing, and a computer that slept wakes up in the right second of a curve.
A demo may run its clock faster than real time; everything that waits does so in the clock's own seconds, so the same
code runs at any rate.
"""

import threading
import time
from typing import Final

AHEAD_MS: Final = 2000.0
"""What the wall clock must be ahead to be followed: a smaller difference does no harm. [ms]"""

# Python's own monotonic clock stands still while a computer with Linux or macOS sleeps. These do not: CLOCK_BOOTTIME of
# Linux, and CLOCK_MONOTONIC of macOS (man clock_gettime of each). Windows has neither, and needs neither.
_SLEEPLESS: Final[int | None] = getattr(time, "CLOCK_BOOTTIME", getattr(time, "CLOCK_MONOTONIC", None))


def ticks_s() -> float:
    """Seconds since some moment: never set, never back, and on while the computer sleeps."""
    return time.monotonic() if _SLEEPLESS is None else time.clock_gettime(_SLEEPLESS)


def wall_ms() -> int:
    """The computer's own time, which may be set at any moment. [ms UTC]"""
    return round(time.time() * 1000)


class Clock:
    """Milliseconds UTC that never jump.

    Parameters
    ----------
    rate
        How many of its seconds pass in one real second; 1 except in a demo that runs faster.
    wall_ms
        The moment to start from; the computer's own clock when not given. [ms UTC]
    """

    def __init__(self, rate: float = 1.0, *, wall_ms: int | None = None) -> None:
        if not 0.01 <= rate <= 1000:
            raise ValueError(f"A clock runs between 0.01 and 1000 times real time, not {rate}.")
        self.rate = rate
        self._follows = wall_ms is None and rate == 1
        self._wall_ms = time.time() * 1000 if wall_ms is None else wall_ms
        self._anchor_s = ticks_s()

    def now_ms(self) -> int:
        """UTC now. [ms]"""
        return int(self._wall_ms + (ticks_s() - self._anchor_s) * 1000 * self.rate)

    def catch_up(self) -> float:
        """Go by the wall clock again where that was put forward since; how far. To be asked for between batches. [ms]

        A computer without a battery clock starts in the past, and is set when the network tells it the time. Back it
        never goes: two moments of a record must not change their order. A clock that runs fast stays as it is.
        """
        ahead_ms = time.time() * 1000 - (self._wall_ms + (ticks_s() - self._anchor_s) * 1000)
        if not self._follows or ahead_ms < AHEAD_MS:
            return 0.0
        self._wall_ms += ahead_ms
        return ahead_ms

    def wait(self, stop: threading.Event, duration_s: float) -> bool:
        """Sleep ``duration_s`` of this clock's seconds, or less if ``stop`` is set; say whether it is set."""
        return stop.wait(max(0.0, duration_s) / self.rate)
