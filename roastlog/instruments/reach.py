"""Why a host on the network was not reached, in plain words."""

import errno
import socket

from roastlog.languages import _


def unreached(host: str, port: int, timeout_s: float, error: Exception) -> str:
    """What an error of a connection means to the person at the machine."""
    where = f"{host}:{port}"
    if isinstance(error, ConnectionRefusedError):
        return _("{where} refused the connection. Is it on, and is the port right?", where=where)
    if isinstance(error, TimeoutError):
        return _(
            "{where} did not answer within {timeout:g} s. Is it on, and on this network?",
            where=where,
            timeout=timeout_s,
        )
    if isinstance(error, socket.gaierror | UnicodeError):
        return _("No host is called {host}. Is the name right?", host=host)
    if isinstance(error, OSError) and error.errno in {errno.EHOSTUNREACH, errno.ENETUNREACH}:
        return _("There is no route to {where}. Is it on the same network?", where=where)
    reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
    return _("{where} cannot be reached: {reason}.", where=where, reason=reason)
