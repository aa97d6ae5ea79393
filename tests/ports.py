"""Ports of loopback reserved for the tests: bound for the whole run, so that nobody else gets one."""

import socket
from contextlib import ExitStack
from typing import Final

_HELD: Final = ExitStack()


def held_port() -> int:
    """A port without a listener. Only a server of ours can use it: the system assigns it to nobody else.

    The socket that holds it does not listen, so connections are refused, and a server with ``SO_REUSEADDR`` (all of
    ours set it on POSIX) can listen beside it, after every restart.
    """
    holder = _HELD.enter_context(socket.socket())
    holder.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    holder.bind(("127.0.0.1", 0))
    return int(holder.getsockname()[1])
