"""While the server runs, the name follows the addresses, and changes that need a restart are reported once."""

import ipaddress
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from zeroconf import AddressResolver, DNSQuestionType, IPVersion, Zeroconf

from roastlog.lan.presence import Presence
from roastlog.lan.secure import SecureOptions, SecureServer, make

NOW = datetime(2027, 3, 1, 8, tzinfo=UTC)
FIRST, SECOND = (
    [ipaddress.ip_address("127.0.0.1")],
    [ipaddress.ip_address("127.0.0.1"), ipaddress.ip_address("127.9.9.9")],
)


@pytest.fixture
def secure(tmp_path: Path) -> SecureServer:
    """A secure page on loopback, under a name of its own."""
    (tmp_path / "lan").mkdir(mode=0o700)
    (tmp_path / "lan" / "name").write_text("drumside-8.local", encoding="ascii")
    return make(tmp_path, SecureOptions("127.0.0.1", 8443, 8080), NOW)


def until(holds) -> None:
    """Wait for a thread."""
    end_s = time.monotonic() + 30
    while not holds():
        assert time.monotonic() < end_s
        time.sleep(0.02)


def test_name_is_there_from_start_to_stop(secure):
    """Another host finds the name between start and stop."""
    presence = Presence(secure, lambda: FIRST, now=lambda: NOW, every_s=0.05)
    wire = Zeroconf(interfaces=["127.0.0.1"], ip_version=IPVersion.V4Only)
    presence.start()
    try:
        answer = AddressResolver("drumside-8.local.")
        assert answer.request(wire, 10_000, DNSQuestionType.QM)
        assert answer.parsed_addresses() == ["127.0.0.1"]
    finally:
        presence.stop()
        wire.close()
    assert presence.told == []


def test_new_address_is_reported_once(secure):
    """An address missing from the certificate is reported with its effect and the remedy."""
    quiet, found = replace(secure, name=None), FIRST
    presence = Presence(quiet, lambda: found, now=lambda: NOW, every_s=0.02)
    presence.start()
    found = SECOND
    until(lambda: presence.told)
    found = FIRST
    time.sleep(0.1)
    found = SECOND
    time.sleep(0.1)
    presence.stop()
    assert len(presence.told) == 1
    assert "127.9.9.9" in presence.told[0]
    assert "Restart Drumside when the drum is empty" in presence.told[0]


def test_old_certificate_is_reported(secure):
    """An old certificate is reported from the day on which a start would renew it."""
    now = secure.renew_from - timedelta(minutes=1)
    presence = Presence(replace(secure, name=None), lambda: FIRST, now=lambda: now, every_s=0.02)
    presence.start()
    time.sleep(0.2)
    assert presence.told == []
    now = secure.renew_from
    until(lambda: presence.told)
    presence.stop()
    assert "expires soon" in presence.told[0]


def test_lost_network_is_reported_and_ends_nothing(secure):
    """Without an address the name cannot be announced; the thread continues, and announces when there is one."""
    found: list[ipaddress.IPv4Address | ipaddress.IPv6Address] = [ipaddress.ip_address("127.0.0.1")]
    presence = Presence(secure, lambda: list(found), now=lambda: NOW, every_s=0.05)
    presence.start()
    until(lambda: presence._announcement is not None)
    found.clear()
    until(lambda: presence.told)
    assert "no network" in presence.told[0]
    assert "everything else works" in presence.told[0]
    found.extend(FIRST)
    wire = Zeroconf(interfaces=["127.0.0.1"], ip_version=IPVersion.V4Only)
    answer = AddressResolver("drumside-8.local.")
    assert answer.request(wire, 10_000, DNSQuestionType.QM)
    wire.close()
    presence.stop()
