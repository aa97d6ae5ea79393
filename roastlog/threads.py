"""Threads of the server: begun once, told to stop, waited for; and work that is done again and again."""

import logging
import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Any, ClassVar

log = logging.getLogger(__name__)


class Worker(ABC):
    """A thread of its own. It looks at ``stopping`` often, and waits by it and by nothing else."""

    patience_s: ClassVar[float] = 5.0
    """How long `stop` waits for it. [s]"""

    def __init__(self, name: str) -> None:
        self.stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """Leave off, and wait for that."""
        self.stopping.set()
        if self._thread.is_alive():
            self._thread.join(self.patience_s)

    @abstractmethod
    def _run(self) -> None:
        """What the thread does."""


class Repeater(Worker):
    """Calls ``work`` again and again, and a last time when it is stopped.

    Parameters
    ----------
    name
        Of the thread.
    every_s
        How often, the work's own time counted in. [s]
    work
        What to do; when it fails it is called again all the same.
    trouble
        What a failure means, for the log; said once until it works again.
    """

    patience_s = 20.0  # the last save may wait for a slow disk

    def __init__(self, name: str, every_s: float, work: Callable[[], Any], trouble: str) -> None:
        super().__init__(name)
        self._every_s, self._work, self._trouble = every_s, work, trouble
        self._failing = False

    def _run(self) -> None:
        last, took_s = False, 0.0
        while not last:
            last = self.stopping.wait(max(self._every_s / 4, self._every_s - took_s))
            begun_s = time.monotonic()
            try:
                self._work()
                self._failing = False
            except Exception:
                if not self._failing:
                    log.exception(self._trouble)
                self._failing = True
            took_s = time.monotonic() - begun_s
