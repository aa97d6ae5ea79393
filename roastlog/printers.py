"""Sending a finished job to a printer on the network, over the raw port that label printers listen on.

The port takes bytes and says nothing back: a job that was taken may still wait for paper. Messages say no more than
that.
"""

import socket
from typing import Final

from roastlog.clock import ticks_s
from roastlog.errors import PrinterError
from roastlog.languages import _

PORT: Final = 9100  # of raw printing
CONNECT_S: Final = 5.0
STALLED_S: Final = 10.0  # without a byte taken
WHOLE_S: Final = 60.0
CLOSING_S: Final = 1.0  # to see a connection reset; many printers keep it open
_CHUNK: Final = 16_384


def send(
    job: bytes,
    host: str,
    port: int = PORT,
    *,
    connect_s: float = CONNECT_S,
    stalled_s: float = STALLED_S,
    whole_s: float = WHOLE_S,
) -> None:
    """Send a job whole, or raise within the deadlines.

    A name is looked up by the operating system first, which has a deadline of its own.

    Parameters
    ----------
    job : bytes
        In the printer's language.
    host, port : str, int
        Address of the printer.
    connect_s, stalled_s, whole_s : float
        Deadlines for the connection, for each part of the job, and for all of it.

    Raises
    ------
    PrinterError
        If nothing was sent, or not all; the message says which, and what to do.
    """
    ends_s = ticks_s() + whole_s
    with _connect(host, port, connect_s) as connection:
        sent = 0
        try:
            while sent < len(job):
                left_s = ends_s - ticks_s()
                if left_s <= 0:
                    raise TimeoutError
                connection.settimeout(min(stalled_s, left_s))
                sent += connection.send(job[sent : sent + _CHUNK])
            _close(connection)
        except OSError as error:
            raise PrinterError(
                _(
                    "The label printer at {host} took at most {percent} % of the job. Look at it: its paper may be "
                    "out or its cover open, which Drumside cannot see. Count the labels, then print the rest.",
                    host=host,
                    percent=100 * sent // (len(job) + 1),
                )
            ) from error


def _connect(host: str, port: int, connect_s: float) -> socket.socket:
    try:
        return socket.create_connection((host, port), timeout=connect_s)
    except (socket.gaierror, UnicodeError) as error:
        raise PrinterError(
            _(
                "No device on this network is named {host}. Nothing was printed. Check the label printer's address in "
                "the settings, or print the PDF.",
                host=host,
            )
        ) from error
    except OSError as error:
        raise PrinterError(
            _(
                "The label printer at {host}, port {port}, does not answer. Nothing was printed. Check that it is on, "
                "in this network, and not busy with another job; the PDF prints without it.",
                host=host,
                port=port,
            )
        ) from error


def _close(connection: socket.socket) -> None:
    """Tell the printer that the job is whole. A reset connection raises OSError: then it lost some of the job."""
    connection.shutdown(socket.SHUT_WR)
    connection.settimeout(CLOSING_S)
    try:
        while connection.recv(_CHUNK):  # what it may answer is of no use here
            pass
    except TimeoutError:
        pass  # it keeps the connection open
