"""Limits for connections: which are over one, and that those are shut down."""

import resource
import socket
from collections.abc import Iterator
from contextlib import ExitStack

import pytest

from roastlog.web.front import connections
from roastlog.web.front.connections import IDLE_S, MOST_FROM_ADDRESS, UNANSWERED_S, Connection, over_limits, shed
from roastlog.web.http.security import counted_address

PHONE, STRANGER, HERE = "192.0.2.7", "192.0.2.8", ""


@pytest.fixture
def pairs() -> Iterator[tuple[int, list[socket.socket]]]:
    """A port, and the clients' ends of five connections to it; this process has the other ends."""
    with ExitStack() as stack:
        listener = stack.enter_context(socket.create_server(("127.0.0.1", 0)))
        clients = []
        for _ in range(5):
            clients.append(stack.enter_context(socket.create_connection(listener.getsockname())))
            clients[-1].settimeout(10)
            stack.enter_context(listener.accept()[0])
        yield listener.getsockname()[1], clients


def made(address: str, silent_s: float, unanswered_s: float = 0.0) -> Connection:
    """A connection."""
    return Connection(0, (), address, silent_s, unanswered_s)


def test_idle_and_lost_connections_are_over_the_limit():
    """Those without data for long, and those whose client acknowledges nothing, also from this computer."""
    kept = [made(PHONE, IDLE_S - 1), made(HERE, 0.0, UNANSWERED_S - 1)]
    over = [made(PHONE, IDLE_S + 1), made(HERE, IDLE_S + 1), made(PHONE, 0.0, UNANSWERED_S + 1)]
    found = over_limits([*over, *kept], most=100)
    assert set(found) == set(over)
    assert len(found) == len(over)


def test_address_has_a_limit_and_this_computer_has_none():
    """The longest silent ones of the address are over it, and no other address is affected."""
    many = [made(STRANGER, float(number) / 10) for number in range(MOST_FROM_ADDRESS + 2)]
    others = [made(PHONE, 100.0), *[made(HERE, 50.0)] * (MOST_FROM_ADDRESS + 1)]
    assert over_limits([*others, *many], most=10_000) == [many[-1], many[-2]]


def test_longest_silent_make_room():
    """Over the limit for all, those that have been silent longest go."""
    assert over_limits([made(PHONE, 3.0), made(STRANGER, 9.0), made(HERE, 6.0)], most=1) == [
        made(STRANGER, 9.0),
        made(HERE, 6.0),
    ]


def test_only_the_excess_of_our_port_is_shut_down(pairs: tuple[int, list[socket.socket]]):
    """The clients over the limit see their connection end, and the others' stay open, also those of other ports."""
    port, clients = pairs
    assert shed({port + 1}, most=1) == 0
    assert shed({port}, most=3) == 2
    ended = 0
    for client in clients:
        client.setblocking(False)
        try:
            ended += client.recv(1) == b""
        except BlockingIOError:
            client.send(b"x")
    assert ended == 2


def test_ipv6_network_counts_as_one_address():
    """A client has all addresses of its network of 64 bits (RFC 7084), and a mapped one is that of IPv4."""
    counted = counted_address
    assert counted("2001:db8::1") == counted("2001:db8::ffff:1") != counted("2001:db8:0:1::1")
    assert counted("::ffff:192.0.2.7") == "192.0.2.7"
    assert counted("::1") == counted("127.0.0.1") == counted("::ffff:127.0.0.1") == ""
    assert counted("fe80::1%eth0") == counted("fe80::2%eth0")


def test_limit_of_open_files_is_raised():
    """A low limit is raised as far as allowed, and the number of connections follows it."""
    before = resource.getrlimit(resource.RLIMIT_NOFILE)
    try:
        resource.setrlimit(resource.RLIMIT_NOFILE, (256, before[1]))
        most = connections.allow_many()
        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        assert soft > 256
        assert hard == before[1]
        assert 64 <= most <= connections.MOST_CONNECTIONS
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, before)
