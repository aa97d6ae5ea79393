"""Messages for network connection errors."""

import errno
import socket

from roastlog.languages import _


def unreachable_reason(host: str, port: int, timeout_s: float, error: Exception) -> str:
    """Describe a connection error for the operator."""
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
        return _("Host {host} not found. Is the name right?", host=host)
    if isinstance(error, OSError) and error.errno in {errno.EHOSTUNREACH, errno.ENETUNREACH}:
        return _("There is no route to {where}. Is it on the same network?", where=where)
    reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
    return _("{where} cannot be reached: {reason}.", where=where, reason=reason)
