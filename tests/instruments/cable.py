"""A serial cable made of two pseudo-terminals, which can be unplugged, plugged in again, and made to garble data."""

import contextlib
import os
import pty
import select
import threading
import tty
from collections.abc import Callable
from pathlib import Path
from typing import Self


class Cable:
    """Two ends, ``near`` and ``far``; what goes into one comes out of the other. Use it in a ``with``.

    Parameters
    ----------
    folder
        Where the ends stand, under names that stay the same when the near one is plugged in again.
    """

    def __init__(self, folder: Path) -> None:
        self.near, self.far = str(folder / "ttyNear"), str(folder / "ttyFar")
        self.garble: Callable[[bytes], bytes] = bytes  # transforms data that arrives at the near end
        self._masters: dict[str, int] = {}
        self._slaves: dict[str, int] = {}
        self._stop = threading.Event()
        self._turn = threading.Lock()
        self._pump = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Self:
        self._plug(self.near)
        self._plug(self.far)
        self._pump.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._pump.join()
        for end in list(self._masters):
            self._unplug(end)

    def plug_in(self) -> None:
        """Plug the near end in again."""
        with self._turn:
            self._plug(self.near)

    def unplug(self) -> None:
        """Pull the near end out: whoever has it open gets an error."""
        with self._turn:
            self._unplug(self.near)

    def say(self, data: bytes) -> None:
        """Send data to the near end, as if from the far one."""
        with self._turn:
            os.write(self._masters[self.near], data)

    def heard(self) -> bytes:
        """Data sent from the near end and not read yet; to be called with nothing at the far one."""
        ready, _, _ = select.select([self._slaves[self.far]], [], [], 0)
        return os.read(self._slaves[self.far], 4096) if ready else b""

    def _plug(self, end: str) -> None:
        self._masters[end], self._slaves[end] = pty.openpty()
        tty.setraw(self._slaves[end])
        Path(end).symlink_to(os.ttyname(self._slaves[end]))

    def _unplug(self, end: str) -> None:
        Path(end).unlink()
        os.close(self._slaves.pop(end))
        os.close(self._masters.pop(end))

    def _run(self) -> None:
        while not self._stop.is_set():
            with self._turn:
                ends = {master: end for end, master in self._masters.items()}
                for master in select.select(list(ends), [], [], 0)[0]:
                    with contextlib.suppress(OSError):
                        data = os.read(master, 4096)
                        other = self._masters.get(self.far if ends[master] == self.near else self.near)
                        if other is not None:
                            os.write(other, self.garble(data) if ends[master] == self.far else data)
            self._stop.wait(0.001)
