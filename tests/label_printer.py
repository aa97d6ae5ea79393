"""A label printer on loopback that takes jobs over TCP, and a decoder of its language; neither uses our code."""

import re
import socket
import struct
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import NamedTuple

import numpy as np

LABEL = re.compile(
    rb"\^XA\^PW(?P<width>\d+)\^LL(?P<length>\d+)\^LH0,0\^FO0,0"
    rb"\^GFA,(?P<bytes>\d+),(?P<fields>\d+),(?P<row>\d+),(?P<hex>[0-9A-F]*)\^FS\^PQ(?P<copies>\d+)\^XZ\n"
)


class Printed(NamedTuple):
    """One label of a job: its dots, True where black, and its copies."""

    dots: np.ndarray
    copies: int

    @property
    def grey(self) -> np.ndarray:
        """As a picture of grey values."""
        return np.where(self.dots, 0, 255).astype(np.uint8)


def decoded(job: bytes) -> list[Printed]:
    """The labels of a job; AssertionError if it is anything but labels of one picture each."""
    labels, at = [], 0
    while at < len(job):
        match = LABEL.match(job, at)
        assert match, job[at : at + 80]
        width, length, row = (int(match[name]) for name in ("width", "length", "row"))
        data = bytes.fromhex(match["hex"].decode("ascii"))
        assert len(data) == int(match["bytes"]) == int(match["fields"]) == row * length
        dots = np.unpackbits(np.frombuffer(data, np.uint8).reshape(length, row), axis=1).astype(bool)
        assert not dots[:, width:].any()
        labels.append(Printed(dots[:, :width], int(match["copies"])))
        at = match.end()
    return labels


def take_all(connection: socket.socket) -> bytes:
    """Read until the sender has finished."""
    return b"".join(iter(lambda: connection.recv(65536), b""))


def reset_at_once(connection: socket.socket) -> bytes:
    """Take a little, then break the connection off."""
    taken = connection.recv(1000)
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    return taken


@contextmanager
def printer(take: Callable[[socket.socket], bytes] = take_all) -> Iterator[tuple[int, list[bytes]]]:
    """A printer on a port of its own; the jobs that it took are complete when the context has ended."""
    jobs: list[bytes] = []
    with socket.socket() as listener:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        listener.settimeout(30)

        def serve() -> None:
            connection, _address = listener.accept()
            with connection:
                connection.settimeout(30)
                jobs.append(take(connection))

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield listener.getsockname()[1], jobs
        finally:
            thread.join(30)
            assert not thread.is_alive()
