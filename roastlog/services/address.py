"""The address at which other devices reach this server."""

import ipaddress
import socket
from contextlib import suppress
from typing import Final
from urllib.parse import urlsplit

from roastlog.services.settings import SettingsService
from roastlog.store.notes import note, noted
from roastlog.store.store import Store

ANY: Final = frozenset({"0.0.0.0", "::"})


class AddressService:
    """The address of this server, for labels and for devices that pair.

    Parameters
    ----------
    host, port
        Address that the server listens on.
    """

    def __init__(self, store: Store, settings: SettingsService, host: str, port: int) -> None:
        self._store, self._settings = store, settings
        self._host, self._port = host, port

    @property
    def listens_here_alone(self) -> bool:
        """Whether no other device can reach this server."""
        return self._host in {"localhost", "127.0.0.1", "::1"}

    def own_base(self) -> str:
        """Address of this server in the local network."""
        host = lan_address() if self._host in ANY else self._host
        return f"http://{f'[{host}]' if ':' in host else host}:{self._port}"

    def note_base(self, base: str) -> None:
        """Store the server's address, so that other processes can make invitations; empty if unreachable."""
        self._store.write(lambda db: note(db, {"served_at": base}))

    def noted_base(self) -> str:
        """Address at which a phone reaches the server: as noted at its last start, else that on labels, else empty."""
        return str(noted(self._store.read).get("served_at") or self._settings.current().url_base)

    def way_in(self, secret: str = "") -> str:
        """Address at which a device pairs: the link that ends in a secret, or without one the page to type a code."""
        base = self.noted_base()
        if not base or base.endswith("#"):  # through trusting the certificate (`--lan`)
            return f"{base}{secret}" if secret else base.removesuffix("#")
        return f"{base}/pair/{secret}" if secret else f"{base}/pair"


def leads_to_itself(url: str) -> bool:
    """Whether an address leads each device to itself, so that none gets from it to this server."""
    host = (urlsplit(url).hostname or "").rstrip(".")
    if host == "localhost" or host.endswith(".localhost"):  # RFC 6761, 6.3
        return True
    with suppress(OSError):  # browsers also accept short forms, such as 127.1
        host = socket.inet_ntoa(socket.inet_aton(host))
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return False
    address = getattr(address, "ipv4_mapped", None) or address
    return address.is_loopback or address.is_unspecified


def lan_address() -> str:
    """The address of this computer in the local network, as far as it is known without network traffic."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737); nothing is sent
            host = str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"
    return "127.0.0.1" if ipaddress.ip_address(host).is_unspecified else host
