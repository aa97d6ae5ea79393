"""Limits for connections, which granian does not have: how many there are, how many an address has, and idle ones.

A connection costs a file descriptor and some kilobytes, but no thread. So the limits are generous, and checked once a
second: connections over a limit are shut down, those first that have been silent longest. granian then sees them end
like any other.
"""

import os
import socket
import struct
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Final

from roastlog.web.http.security import counted_address

MOST_CONNECTIONS: Final = 4096
PORTS: Final = 2  # with `--lan` there is the plain door too
MOST_FROM_ADDRESS: Final = 256  # some phones behind one address have a few dozen; this computer has no limit
IDLE_S: Final = 120.0  # without data in either direction; a stream sends at least every five seconds
UNANSWERED_S: Final = 20.0  # without an acknowledgement of what was sent: the client is out of the network
SPARE_FILES: Final = 512  # for the database, instruments and pages
CHECK_S: Final = 1.0
_FILES: Final = "/proc/self/fd"
_FIRST_FIELDS: Final = struct.Struct("@8x20I")  # struct tcp_info of linux/tcp.h, which only ever grows at its end
_UNACKED, _LAST_SENT, _LAST_RECEIVED, _LAST_ACK = 4, 9, 11, 12


@dataclass(frozen=True)
class Connection:
    """An accepted connection.

    Attributes
    ----------
    file
        Its file descriptor, which granian owns and may close at any time.
    address
        The client's address; its network of 64 bits for IPv6, of which a client can have every address.
    silent_s
        Time since data came or went.
    unanswered_s
        Time since the client acknowledged anything, if it has something to acknowledge.
    """

    file: int
    peer: tuple[object, ...]
    address: str
    silent_s: float
    unanswered_s: float

    @property
    def is_local(self) -> bool:
        """Whether it comes from this computer; a proxy here has the connections of all its clients."""
        return self.address == ""


def allow_many() -> int:
    """Raise the limit of open files as far as needed and allowed; returns how many connections a port may have."""
    import resource  # noqa: PLC0415 - missing on Windows

    wanted = PORTS * MOST_CONNECTIONS + SPARE_FILES
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft == resource.RLIM_INFINITY:
        return MOST_CONNECTIONS
    if soft < wanted:
        soft = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
    return max(64, min(MOST_CONNECTIONS, (soft - SPARE_FILES) // PORTS))


def shed(ports: Collection[int], most: int) -> int:
    """Shut down the connections to our ports that are over a limit; returns how many."""
    excess = over_limits(list(_open_connections(ports)), most)
    for connection in excess:
        with _borrowed(connection.file) as found:
            if found is not None and _peer(found) == connection.peer:
                with suppress(OSError):
                    found.shutdown(socket.SHUT_RDWR)
    return len(excess)


def over_limits(connections: Sequence[Connection], most: int) -> list[Connection]:
    """Those that are idle, that are too many from one address, and that are too many in all; longest silent first."""
    excess: list[Connection] = []
    kept_of: Counter[str] = Counter()
    kept = 0
    for connection in sorted(connections, key=lambda one: one.silent_s):
        if (
            connection.silent_s > IDLE_S
            or connection.unanswered_s > UNANSWERED_S
            or (not connection.is_local and kept_of[connection.address] >= MOST_FROM_ADDRESS)
            or kept >= most
        ):
            excess.append(connection)
        else:
            kept += 1
            kept_of[connection.address] += 1
    return excess[::-1]


def _open_connections(ports: Collection[int]) -> Iterator[Connection]:
    for name in os.listdir(_FILES):  # noqa: PTH208 - thousands of them, each second
        with suppress(OSError), _borrowed(int(name)) as found:  # closed meanwhile, or not connected
            if found is not None and _is_ours(found, ports):
                yield _measured(int(name), found)


@contextmanager
def _borrowed(file: int) -> Iterator[socket.socket | None]:
    """A file descriptor as a socket, given back without closing it; None if it is no socket."""
    try:
        found = socket.socket(fileno=file)
    except OSError:
        yield None
        return
    try:
        yield found
    finally:
        found.detach()


def _is_ours(found: socket.socket, ports: Collection[int]) -> bool:
    return found.family in {socket.AF_INET, socket.AF_INET6} and found.getsockname()[1] in ports


def _peer(found: socket.socket) -> tuple[object, ...] | None:
    try:
        return tuple(found.getpeername())
    except OSError:
        return None


def _measured(file: int, found: socket.socket) -> Connection:
    peer = tuple(found.getpeername())
    told = _FIRST_FIELDS.unpack(found.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, _FIRST_FIELDS.size))
    return Connection(
        file,
        peer,
        counted_address(str(peer[0])),
        min(told[_LAST_SENT], told[_LAST_RECEIVED]) / 1000,
        told[_LAST_ACK] / 1000 if told[_UNACKED] else 0.0,
    )
