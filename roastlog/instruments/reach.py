"""Why a host on the network was not reached, in plain words."""

import errno
import socket


def unreached(host: str, port: int, timeout_s: float, error: Exception) -> str:
    """What an error of a connection means to the person at the machine."""
    where = f"{host}:{port}"
    if isinstance(error, ConnectionRefusedError):
        return f"{where} refused the connection. Is it on, and is the port right?"
    if isinstance(error, TimeoutError):
        return f"{where} did not answer within {timeout_s:g} s. Is it on, and on this network?"
    if isinstance(error, socket.gaierror | UnicodeError):
        return f"No host is called {host}. Is the name right?"
    if isinstance(error, OSError) and error.errno in {errno.EHOSTUNREACH, errno.ENETUNREACH}:
        return f"There is no route to {where}. Is it on the same network?"
    reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
    return f"{where} cannot be reached: {reason}."
