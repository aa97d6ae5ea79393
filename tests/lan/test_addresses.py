"""Names of the computer, and the addresses that a certificate may contain."""

import ipaddress
import re

import pytest

from roastlog.lan import addresses
from roastlog.lan.addresses import ServerHosts, all_addresses, computer, is_private, listening, private


@pytest.mark.parametrize(
    "text", ["10.0.0.1", "172.31.255.255", "192.168.0.1", "127.0.0.1", "::1", "fd00::1", "fe80::1"]
)
def test_private_addresses(text):
    """Addresses of RFC 1918, RFC 4193 and RFC 4291, and loopback, are private."""
    assert is_private(ipaddress.ip_address(text))


@pytest.mark.parametrize("text", ["192.0.2.1", "203.0.113.9", "172.32.0.1", "2001:db8::1", "::", "0.0.0.0"])
def test_other_addresses_are_not(text):
    """Documentation addresses (RFC 5737, RFC 3849) stand for public ones; the neighbours of a range are outside."""
    assert not is_private(ipaddress.ip_address(text))


def test_this_computer_is_a_host_name():
    """The computer's name is converted to a valid host name (RFC 1123 2.1)."""
    assert re.fullmatch(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?", computer())


def test_every_computer_has_loopback():
    """The operating system's own list contains 127.0.0.1."""
    assert ipaddress.ip_address("127.0.0.1") in all_addresses()


def test_one_address_is_reached_there():
    """An address is reached at itself; an unknown name has no address."""
    assert listening("127.0.0.1") == listening("localhost") == [ipaddress.ip_address("127.0.0.1")]
    assert listening("no such host") == []


def test_all_addresses_but_loopback_are_reached(monkeypatch):
    """All addresses but loopback, which other devices cannot reach; IPv6 only if requested."""
    found = [ipaddress.ip_address(text) for text in ("127.0.0.1", "192.0.2.7", "fd00::7", "::1")]
    monkeypatch.setattr(addresses, "all_addresses", lambda: found)
    assert [str(one) for one in listening("0.0.0.0")] == ["192.0.2.7"]
    assert [str(one) for one in listening("::")] == ["192.0.2.7", "fd00::7"]
    assert [str(one) for one in private(listening("::"))] == ["fd00::7"]


def test_place_has_names_and_loopback():
    """The announced name is first, then the computer's own in each zone, and always localhost."""
    place = ServerHosts.here("127.0.0.1", "drumside.local")
    assert place.names[0] == "drumside.local"
    assert {f"{computer()}.local", f"{computer()}.lan", f"{computer()}.home.arpa", "localhost"} <= set(place.names)
    assert [str(address) for address in place.addresses] == ["127.0.0.1", "::1"]
    assert place.network == ()
