"""What the computer is called, and which of its addresses a certificate may name."""

import ipaddress
import re

import pytest

from roastlog.lan import addresses
from roastlog.lan.addresses import ServerHosts, all_addresses, computer, is_private, listening, private


@pytest.mark.parametrize(
    "text", ["10.0.0.1", "172.31.255.255", "192.168.0.1", "127.0.0.1", "::1", "fd00::1", "fe80::1"]
)
def test_private_addresses(text):
    """Those of RFC 1918, RFC 4193 and RFC 4291, and loopback."""
    assert is_private(ipaddress.ip_address(text))


@pytest.mark.parametrize("text", ["192.0.2.1", "203.0.113.9", "172.32.0.1", "2001:db8::1", "::", "0.0.0.0"])
def test_other_addresses_are_not(text):
    """Documentation ranges (RFC 5737, RFC 3849) stand for public ones; the edge of a range is outside of it."""
    assert not is_private(ipaddress.ip_address(text))


def test_this_computer_is_a_host_name():
    """Its own name, whatever it is, becomes a part of a host name (RFC 1123 2.1)."""
    assert re.fullmatch(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?", computer())


def test_every_computer_has_loopback():
    """The operating system's own list is asked: 127.0.0.1 stands in it."""
    assert ipaddress.ip_address("127.0.0.1") in all_addresses()


def test_who_listens_on_one_address_is_reached_there():
    """One address is itself, a name that is none of ours is nothing."""
    assert listening("127.0.0.1") == listening("localhost") == [ipaddress.ip_address("127.0.0.1")]
    assert listening("no such host") == []


def test_who_listens_everywhere_is_reached_by_each_address(monkeypatch):
    """All but loopback, which means another computer to each other device; IPv6 where it was asked for."""
    found = [ipaddress.ip_address(text) for text in ("127.0.0.1", "192.0.2.7", "fd00::7", "::1")]
    monkeypatch.setattr(addresses, "all_addresses", lambda: found)
    assert [str(one) for one in listening("0.0.0.0")] == ["192.0.2.7"]
    assert [str(one) for one in listening("::")] == ["192.0.2.7", "fd00::7"]
    assert [str(one) for one in private(listening("::"))] == ["fd00::7"]


def test_place_has_names_and_loopback():
    """The announced name first, the computer's own in each zone, and this very computer always."""
    place = ServerHosts.here("127.0.0.1", "drumside.local")
    assert place.names[0] == "drumside.local"
    assert {f"{computer()}.local", f"{computer()}.lan", f"{computer()}.home.arpa", "localhost"} <= set(place.names)
    assert [str(address) for address in place.addresses] == ["127.0.0.1", "::1"]
    assert place.network == ()
