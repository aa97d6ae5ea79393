"""The name in the network, on the loopback interface alone: announced, found by another one, withdrawn."""

import ipaddress
import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from zeroconf import (
    AddressResolver,
    DNSQuestionType,
    IPVersion,
    ServiceInfo,
    Zeroconf,
)

from roastlog.lan.announce import Announcement, NotAnnounced, free_name

HERE = [ipaddress.ip_address("127.0.0.1")]
PATIENCE_MS = 10_000  # how long an answer may take on a busy machine; no measure of how quick it is
ELSEWHERE = ipaddress.ip_address("127.0.0.77")  # another computer, as far as the name is concerned


@pytest.fixture
def other() -> Iterator[Zeroconf]:
    """Another one on the same wire."""
    wire = Zeroconf(interfaces=["127.0.0.1"], ip_version=IPVersion.V4Only)
    yield wire
    wire.close()


def asked(wire: Zeroconf, name: str, patience_ms: int = PATIENCE_MS) -> list[str]:
    """Addresses that a name has, for another one."""
    answer = AddressResolver(f"{name}.")
    answer.request(wire, patience_ms, DNSQuestionType.QM)
    return answer.parsed_addresses()


def taken(wire: Zeroconf, name: str) -> ServiceInfo:
    """Another computer's Drumside of that name."""
    kind = "_https._tcp.local."
    info = ServiceInfo(kind, f"Another ({name}).{kind}", port=1, server=f"{name}.", addresses=[ELSEWHERE.packed])
    wire.register_service(info)
    time.sleep(1.2)  # what was said to all within the last second is not said again (RFC 6762 6)
    return info


def test_another_one_finds_the_name_and_both_services(other):
    """The name leads to the address, and HTTPS and HTTP to their ports, until it is withdrawn."""
    said = Announcement("drumside-9.local", secure=8443, plain=8080)
    said.at(HERE)
    try:
        assert asked(other, "drumside-9.local") == ["127.0.0.1"]
        for kind, port in (("_https._tcp.local.", 8443), ("_http._tcp.local.", 8080)):
            info = other.get_service_info(kind, f"Drumside (drumside-9).{kind}")
            assert info is not None
            assert (info.port, info.server, info.parsed_addresses()) == (port, "drumside-9.local.", ["127.0.0.1"])
    finally:
        said.withdraw()
    fresh = Zeroconf(interfaces=["127.0.0.1"], ip_version=IPVersion.V4Only)
    assert asked(fresh, "drumside-9.local", 1000) == []
    fresh.close()


def test_next_name_where_another_computer_has_the_first(other, tmp_path):
    """`drumside.local` is taken by another address, so it is `drumside-2.local`, from then on too."""
    kept = tmp_path / "lan" / "name"
    info = taken(other, "drumside.local")
    assert free_name(kept, HERE, probe_ms=4000) == "drumside-2.local"
    other.unregister_service(info)
    assert free_name(kept, HERE) == "drumside-2.local"
    assert kept.read_text(encoding="ascii") == "drumside-2.local"


def test_own_name_is_no_other_ones(tmp_path):
    """A Drumside of this computer that has the name, such as one that was killed, does not take it away."""
    said = Announcement("drumside.local", secure=8443, plain=8080)
    said.at(HERE)
    try:
        assert free_name(tmp_path / "name", HERE) == "drumside.local"
    finally:
        said.withdraw()


def test_name_that_nobody_can_have_is_not_kept(tmp_path):
    """A damaged file is asked about anew."""
    kept = tmp_path / "name"
    kept.write_text("elsewhere.example", encoding="ascii")
    assert free_name(kept, HERE) == "drumside.local"


def test_no_network_is_told(tmp_path):
    """Without an address nobody can be asked and nothing be announced; both say so."""
    with pytest.raises(NotAnnounced, match="no network"):
        free_name(tmp_path / "name", [])
    with pytest.raises(NotAnnounced, match="no network"):
        Announcement("drumside.local", secure=1, plain=2).at([])


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # zeroconf leaves its socket unclosed
def test_port_that_another_program_keeps_is_told(tmp_path: Path):
    """Port 5353 held by a program that shares it with nobody: a reason, and no traceback."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as held:
        held.bind(("", 5353))
        with pytest.raises(NotAnnounced, match="in use"):
            free_name(tmp_path / "name", HERE)
