"""The server's clock: anchored to the wall once, then carried by the monotonic clock.

A step of the wall clock in mid-roast moves nothing. A demo may run its clock faster than real time; everything
that waits does so in the clock's own seconds, so the same code runs at any rate.
"""

import threading
import time


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
        self._wall_ms = time.time() * 1000 if wall_ms is None else wall_ms
        self._anchor_s = time.monotonic()

    def now_ms(self) -> int:
        """UTC now. [ms]"""
        return int(self._wall_ms + (time.monotonic() - self._anchor_s) * 1000 * self.rate)

    def wait(self, stop: threading.Event, duration_s: float) -> bool:
        """Sleep ``duration_s`` of this clock's seconds, or less if ``stop`` is set; say whether it is set."""
        return stop.wait(max(0.0, duration_s) / self.rate)
