"""Clients of an event stream, one thread each, that record when each event arrives."""

import http.client
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress


class Watchers:
    """``count`` clients on one stream, which keep the events named ``listen_for``."""

    def __init__(self, port: int, path: str, count: int, listen_for: str) -> None:
        self._name = f"event: {listen_for}".encode()
        self._heard: list[tuple[float, bytes]] = []
        self._events = 0
        self._sockets: list[socket.socket] = []
        self._threads: list[threading.Thread] = []
        for _ in range(count):
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
            connection.request("GET", path, headers={"Accept": "text/event-stream"})
            stream = connection.getresponse()
            if stream.status != http.client.OK:
                raise RuntimeError(f"{path} gave {stream.status} to a watcher")
            self._sockets.append(connection.sock)
            self._threads.append(threading.Thread(target=self._listen, args=(connection, stream), daemon=True))
            self._threads[-1].start()

    @property
    def events(self) -> int:
        """Number of events of any name that all clients have received together."""
        return self._events

    def when(self, word: str, count: int, within_s: float = 5.0) -> list[float]:
        """Time at which each of ``count`` clients received the event that contains ``word``. [s of perf_counter]"""
        wanted, until_s = word.encode(), time.perf_counter() + within_s
        while True:
            times = [at_s for at_s, data in list(self._heard) if wanted in data]
            if len(times) >= count:
                self._heard.clear()
                return times
            if time.perf_counter() > until_s:
                raise RuntimeError(f"{count - len(times)} of {count} watchers did not hear of it in {within_s} s")
            time.sleep(0.002)

    def close(self) -> None:
        """Disconnect; each thread closes its own connection, since closing it under a reader mixes up descriptors."""
        for sock in self._sockets:
            sock.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join(5)

    def _listen(self, connection: http.client.HTTPConnection, stream: http.client.HTTPResponse) -> None:
        named = False
        with closing(connection), suppress(OSError, http.client.HTTPException):
            while line := stream.readline():
                if line.startswith(b"event:"):
                    named = line.startswith(self._name)
                elif line.startswith(b"data:"):
                    at_s = time.perf_counter()
                    self._events += 1
                    if named:
                        self._heard.append((at_s, line))


@contextmanager
def watching(port: int, path: str, count: int, listen_for: str) -> Iterator[Watchers]:
    """Watch while the block runs."""
    watchers = Watchers(port, path, count, listen_for)
    try:
        yield watchers
    finally:
        watchers.close()
