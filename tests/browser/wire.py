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
        self._deaf = False
        self._hung = threading.Event()
        self._hung.set()
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

    def deafen(self) -> None:
        """Carry what is asked to the server, and nothing that it answers back: what is connected breaks off then."""
        with self._lock:
            self._deaf = True

    def hang(self) -> None:
        """Take what comes, carry nothing, and tell nobody: a Wi-Fi that is there and leads nowhere."""
        self._hung.clear()

    def aim(self, url: str) -> None:
        """Lead to another server from now on."""
        there = urlsplit(url)
        self._there = (there.hostname or "", there.port or 80)

    def mend(self) -> None:
        """Let connections through again, both ways."""
        with self._lock:
            self._whole, self._deaf = True, False
        self._hung.set()

    def close(self) -> None:
        """Let go of the port."""
        self.cut()
        self._hung.set()
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
                try:
                    there = socket.create_connection(self._there)
                except OSError:  # the server is down
                    here.close()
                    continue
                self._ends |= {here, there}
            for one, other, back in ((here, there, False), (there, here, True)):
                threading.Thread(target=self._carry, args=(one, other, back), daemon=True).start()

    def _carry(self, one: socket.socket, other: socket.socket, back: bool) -> None:
        with suppress(OSError):
            while (data := one.recv(65536)) and not (back and self._deaf):
                self._hung.wait()
                other.sendall(data)
        for end in (one, other):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        with self._lock:
            self._ends -= {one, other}
        one.close()
