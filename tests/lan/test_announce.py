"""The mDNS name, on the loopback interface alone: announced, found by another host, withdrawn."""

import ipaddress
import socket
import threading
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
PATIENCE_MS = 10_000  # timeout of an answer on a busy machine; no measure of speed
ELSEWHERE = ipaddress.ip_address("127.0.0.77")  # another host, as far as the name is concerned


@pytest.fixture
def other() -> Iterator[Zeroconf]:
    """Another host on the same network."""
    wire = Zeroconf(interfaces=["127.0.0.1"], ip_version=IPVersion.V4Only)
    yield wire
    wire.close()


def asked(wire: Zeroconf, name: str, patience_ms: int = PATIENCE_MS) -> list[str]:
    """Addresses of a name, as resolved by another host."""
    answer = AddressResolver(f"{name}.")
    answer.request(wire, patience_ms, DNSQuestionType.QM)
    return answer.parsed_addresses()


def taken(wire: Zeroconf, name: str) -> ServiceInfo:
    """Another computer's Drumside with that name."""
    kind = "_https._tcp.local."
    info = ServiceInfo(kind, f"Another ({name}).{kind}", port=1, server=f"{name}.", addresses=[ELSEWHERE.packed])
    wire.register_service(info)
    time.sleep(1.2)  # a record sent within the last second is not sent again (RFC 6762 6)
    return info


def test_another_one_finds_the_name_and_both_services(other):
    """The name resolves to the address, and HTTPS and HTTP to their ports, until it is withdrawn."""
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
    """If another address has `drumside.local`, the name is `drumside-2.local`, and stays so."""
    kept = tmp_path / "lan" / "name"
    info = taken(other, "drumside.local")
    assert free_name(kept, HERE, probe_ms=4000) == "drumside-2.local"
    other.unregister_service(info)
    assert free_name(kept, HERE) == "drumside-2.local"
    assert kept.read_text(encoding="ascii") == "drumside-2.local"


def test_own_name_is_no_other_ones(tmp_path):
    """A Drumside of this computer with the name, such as one that was killed, does not block it."""
    said = Announcement("drumside.local", secure=8443, plain=8080)
    said.at(HERE)
    try:
        assert free_name(tmp_path / "name", HERE) == "drumside.local"
    finally:
        said.withdraw()


def test_invalid_stored_name_is_replaced(tmp_path):
    """A damaged file leads to a new probe of the name."""
    kept = tmp_path / "name"
    kept.write_text("elsewhere.example", encoding="ascii")
    assert free_name(kept, HERE) == "drumside.local"


def test_no_network_is_reported(tmp_path):
    """Without an address neither probing nor announcing is possible; both report that."""
    with pytest.raises(NotAnnounced, match="no network"):
        free_name(tmp_path / "name", [])
    with pytest.raises(NotAnnounced, match="no network"):
        Announcement("drumside.local", secure=1, plain=2).at([])


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # zeroconf does not close its socket
def test_port_that_another_program_keeps_is_reported(tmp_path: Path):
    """Port 5353 held exclusively by another program gives a reason, and no traceback."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as held:
        held.bind(("", 5353))
        with pytest.raises(NotAnnounced, match="in use"):
            free_name(tmp_path / "name", HERE)


def test_withdrawal_cuts_an_announcement_short():
    """The end of the server closes a half announced name; its thread is told so, as of any failure."""
    said, failed = Announcement("drumside-9.local", secure=8443, plain=8080), []

    def announce() -> None:
        try:
            said.at(HERE)
        except NotAnnounced as error:
            failed.append(error)

    for _ in range(3):
        thread = threading.Thread(target=announce)
        thread.start()
        while said._wire is None:
            time.sleep(0.001)
        said.withdraw()
        thread.join(10)
        assert not thread.is_alive()
    assert len(failed) == 3
    assert said._wire is None
