"""The network between a screen and a server: a relay on loopback that can be cut and mended.

Playwright's `set_offline` lets a stream that is open go on; a Wi-Fi that goes away does not.
"""

import socket
import threading
from contextlib import suppress
from urllib.parse import urlsplit


class Wire:
    """A relay to a server's address; while it is cut, what was connected is dropped and nothing gets through.

    Parameters
    ----------
    url
        Address of the server.
    """

    def __init__(self, url: str) -> None:
        there = urlsplit(url)
        self._there = (there.hostname or "", there.port or 80)
        self._listening = socket.create_server(("127.0.0.1", 0))
        self._ends: set[socket.socket] = set()
        self._lock = threading.Lock()
        self._whole = True
        self.url = f"http://127.0.0.1:{self._listening.getsockname()[1]}"
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        """Drop all that is connected, and all that tries to."""
        with self._lock:
            self._whole = False
            ends, self._ends = self._ends, set()
        for end in ends:
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def mend(self) -> None:
        """Let connections through again."""
        with self._lock:
            self._whole = True

    def close(self) -> None:
        """Let go of the port."""
        self.cut()
        with suppress(OSError):
            self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()

    def _accept(self) -> None:
        while True:
            try:
                here, _ = self._listening.accept()
            except OSError:  # closed
                return
            with self._lock:
                if not self._whole:
                    here.close()
                    continue
                there = socket.create_connection(self._there)
                self._ends |= {here, there}
            for one, other in ((here, there), (there, here)):
                threading.Thread(target=self._carry, args=(one, other), daemon=True).start()

    def _carry(self, one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while data := one.recv(65536):
                other.sendall(data)
        for end in (one, other):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        with self._lock:
            self._ends -= {one, other}
        one.close()
