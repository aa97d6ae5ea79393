"""Host names and addresses of this computer in the local network."""

import ipaddress
import re
import socket
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Self

IP = ipaddress.IPv4Address | ipaddress.IPv6Address

# Private names and addresses: they have no owner on the internet, so no public authority may certify them (CA/Browser
# Forum Baseline Requirements 7.1.4.2.1, from memory), and ours may certify nothing else.
ZONES: Final = ("local", "lan", "home.arpa", "localhost")  # RFC 6762, custom, RFC 8375, RFC 6761
PRIVATE: Final = tuple(
    ipaddress.ip_network(text)
    for text in (
        *("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16"),  # RFC 1918
        *("169.254.0.0/16", "fe80::/10"),  # of one wire: RFC 3927, RFC 4291
        "100.64.0.0/10",  # RFC 6598; private networks over the internet use it
        "fc00::/7",  # RFC 4193
        *("127.0.0.0/8", "::1/128"),
    )
)
ANY: Final = {"0.0.0.0", "::"}


@dataclass(frozen=True)
class ServerHosts:
    """Private names (``ZONES``) and addresses (``PRIVATE``) of this computer."""

    names: tuple[str, ...]
    addresses: tuple[IP, ...]

    @classmethod
    def here(cls, host: str, name: str) -> Self:
        """Names and addresses of a server that listens on ``host`` and is announced as ``name``."""
        label = computer()
        names = (name, *(f"{label}.{zone}" for zone in ZONES[:-1]), "localhost")
        loopback = (ipaddress.ip_address("127.0.0.1"), ipaddress.ip_address("::1"))
        return cls(tuple(dict.fromkeys(names)), tuple(dict.fromkeys([*private(listening(host)), *loopback])))

    @property
    def network(self) -> tuple[IP, ...]:
        """The addresses reachable from other devices."""
        return tuple(address for address in self.addresses if not address.is_loopback)


def computer() -> str:
    """The computer's name, as one label of a host name."""
    label = re.sub(r"[^a-z0-9-]+", "-", socket.gethostname().partition(".")[0].lower()).strip("-")
    return label[:63] or "computer"


def listening(host: str) -> list[IP]:
    """The addresses of a server that listens on ``host``; loopback only if there is no other."""
    if host in ANY:
        found = [address for address in all_addresses() if not address.is_loopback]
        return [address for address in found if host == "::" or address.version == 4]
    try:
        return [ipaddress.ip_address(host)]
    except ValueError:
        return [ipaddress.ip_address("127.0.0.1")] if host == "localhost" else []


def private(addresses: Iterable[IP]) -> list[IP]:
    """The private ones, which our certificate may name."""
    return [address for address in addresses if is_private(address)]


def is_private(address: IP) -> bool:
    """Whether an address is one of a private network."""
    return any(address in network for network in PRIVATE)


def all_addresses() -> Sequence[IP]:
    """Every address of this computer that works in a URL; IPv6 link-local addresses do not."""
    import ifaddr  # noqa: PLC0415 - needed with `--lan` alone

    found = [
        ipaddress.ip_address(ip.ip if isinstance(ip.ip, str) else ip.ip[0])
        for adapter in ifaddr.get_adapters()
        for ip in adapter.ips
    ]
    return [address for address in found if address.version == 4 or not address.is_link_local]
