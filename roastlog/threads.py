"""Background threads of the server: stoppable workers and periodic jobs."""

import logging
import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Any, ClassVar

log = logging.getLogger(__name__)


class Worker(ABC):
    """A background thread. It checks ``stopping`` often, and waits only on it."""

    stop_timeout_s: ClassVar[float] = 5.0
    """Timeout of `stop`. [s]"""

    def __init__(self, name: str) -> None:
        self.stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self) -> None:
        """Stop the thread and wait for it."""
        self.stopping.set()
        if self._thread.is_alive():
            self._thread.join(self.stop_timeout_s)

    @abstractmethod
    def _run(self) -> None:
        """Run until ``stopping`` is set."""


class Repeater(Worker):
    """Calls ``work`` periodically, and once more when it is stopped.

    Parameters
    ----------
    name
        Name of the thread.
    every_s
        Period, including the work's own time. [s]
    work
        The job; it is called again even if it fails.
    failure_message
        Log message of a failure; logged once until the job succeeds again.
    """

    stop_timeout_s = 20.0  # the last save may wait for a slow disk

    def __init__(self, name: str, every_s: float, work: Callable[[], Any], failure_message: str) -> None:
        super().__init__(name)
        self._every_s, self._work, self._failure_message = every_s, work, failure_message
        self._failing = False

    def _run(self) -> None:
        last, took_s = False, 0.0
        while not last:
            last = self.stopping.wait(max(self._every_s / 4, self._every_s - took_s))
            started_s = time.monotonic()
            try:
                self._work()
                self._failing = False
            except Exception:
                if not self._failing:
                    log.exception(self._failure_message)
                self._failing = True
            took_s = time.monotonic() - started_s


class Responder(Worker):
    """Calls ``work`` soon after each `prompt`, once for all that come meanwhile.

    It rests as long as the work took, so that a flood of prompts leaves at least half of a processor to others.

    Parameters
    ----------
    name
        Name of the thread.
    work
        The job; it is called again even if it fails.
    failure_message
        Log message of a failure.
    """

    def __init__(self, name: str, work: Callable[[], Any], failure_message: str) -> None:
        super().__init__(name)
        self._work, self._failure_message = work, failure_message
        self._prompted = threading.Event()

    def prompt(self) -> None:
        """Have the work done, without waiting for it."""
        self._prompted.set()

    def stop(self) -> None:
        """Stop the thread and wait for it."""
        self.stopping.set()
        self._prompted.set()
        super().stop()

    def _run(self) -> None:
        while self._prompted.wait() and not self.stopping.is_set():
            self._prompted.clear()
            started_s = time.monotonic()
            try:
                self._work()
            except Exception:
                log.exception(self._failure_message)
            self.stopping.wait(time.monotonic() - started_s)
