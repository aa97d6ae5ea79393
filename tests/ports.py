"""Ports of loopback reserved for the tests: bound for the whole run, so that nobody else gets one."""

import socket
from contextlib import ExitStack
from typing import Final

_HELD: Final = ExitStack()


def held_port() -> int:
    """A port on which nobody listens yet. Only a server of ours can: the system gives it to no one else.

    The socket that holds it does not listen, so whoever connects is refused, and a server that may use an address again
    (``SO_REUSEADDR``, which all of ours ask for on POSIX) listens beside it, as often as it is started anew.
    """
    holder = _HELD.enter_context(socket.socket())
    holder.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    holder.bind(("127.0.0.1", 0))
    return int(holder.getsockname()[1])
