"""Jobs over TCP to a printer on loopback: whole, or a sentence that says what was not printed."""

import socket
import threading

import pytest

from roastlog.errors import PrinterError
from roastlog.label.stock import label_size
from roastlog.label.zpl import label_job
from roastlog.printers import send
from tests.label.test_zpl import LABEL
from tests.label_printer import decoded, printer, reset_at_once
from tests.ports import held_port
from tests.zbar import read

LARGE = b"\0" * 8_000_000  # more than the buffers between two programs hold


def test_labels_arrive_whole():
    """A printer gets the job byte for byte, and its labels read as the address."""
    job = label_job(LABEL, label_size("62x29"), copies=4, numbered=True)
    with printer() as (port, jobs):
        send(job, "127.0.0.1", port)
    assert jobs == [job]
    printed = decoded(jobs[0])
    assert len(printed) == 4
    assert [read(label.grey) for label in printed] == [[LABEL.url]] * 4


def test_a_large_job_arrives_whole():
    """Eight megabytes arrive byte for byte at a printer with a small buffer."""
    with printer() as (port, jobs):
        send(LARGE, "127.0.0.1", port)
    assert jobs == [LARGE]


def test_a_printer_that_keeps_the_connection_open_is_no_failure():
    """After the last byte the sender waits a moment only for the connection to end."""
    stop = threading.Event()

    def take(connection: socket.socket) -> bytes:
        taken = connection.recv(65536)
        assert stop.wait(30)
        return taken

    with printer(take) as (port, jobs):
        send(b"^XA^XZ", "127.0.0.1", port)
        stop.set()
    assert jobs == [b"^XA^XZ"]


def test_a_printer_that_is_off_is_reported():
    """A refused connection says that nothing was printed."""
    port = held_port()
    with pytest.raises(PrinterError, match=f"port {port}, does not answer. Nothing was printed"):
        send(b"^XA^XZ", "127.0.0.1", port)


def test_a_printer_that_is_busy_is_reported():
    """A connection that is not accepted within its deadline says that nothing was printed."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(0)
        address = listener.getsockname()
        waiting = [socket.socket() for _ in range(3)]
        for one in waiting:
            one.setblocking(False)
            one.connect_ex(address)
        with pytest.raises(PrinterError, match="not busy with another job"):
            send(b"^XA^XZ", *address, connect_s=0.2)
        for one in waiting:
            one.close()


@pytest.mark.parametrize("host", ["fe80::1%nowhere", "a" * 70 + ".example", ""])  # none of them asks a name server
def test_a_name_that_nobody_has_is_reported(host: str):
    """An address that leads nowhere says so, and that nothing was printed."""
    with pytest.raises(PrinterError, match=r"No device on this network is named .*\. Nothing was printed"):
        send(b"^XA^XZ", host, held_port())


@pytest.mark.parametrize("deadline", ["stalled_s", "whole_s"])
def test_a_printer_that_takes_no_more_is_reported(deadline: str):
    """A job that stalls ends at either deadline and says that it may be printed in part."""
    stop = threading.Event()

    def take(connection: socket.socket) -> bytes:
        assert stop.wait(30)
        return b""

    with printer(take) as (port, _jobs):
        with pytest.raises(PrinterError, match=r"took at most \d\d? % of the job.*Count the labels"):
            send(LARGE, "127.0.0.1", port, **{deadline: 0.3})
        stop.set()


@pytest.mark.parametrize("job", [LARGE, b"\0" * 2000], ids=["while it is sent", "after all was handed over"])
def test_a_broken_connection_is_reported(job: bytes):
    """A printer that breaks off amid the job, or after its last byte was handed to the network, lost some of it."""
    with printer(reset_at_once) as (port, _jobs), pytest.raises(PrinterError, match="Count the labels"):
        send(job, "127.0.0.1", port)
