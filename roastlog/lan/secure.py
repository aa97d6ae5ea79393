"""Preparation for ``--lan`` before the server starts: name, certificate and URLs."""

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding

from roastlog.lan import announce, certificates, own
from roastlog.lan.addresses import IP, ServerHosts, is_private, listening
from roastlog.lan.authority import LEFT, fingerprint

FOLDER: Final = "lan"
NAME_FILE: Final = "name"


@dataclass(frozen=True)
class SecureOptions:
    """Options of the command. Without a user-supplied certificate, one is created."""

    host: str
    port: int
    plain_port: int
    certificate: Path | None = None
    key: Path | None = None


@dataclass(frozen=True)
class Authority:
    """The public data of the certificate authority, as phones download it."""

    der: bytes
    title: str
    fingerprint: str
    serial: int
    ends: datetime


@dataclass(frozen=True)
class SecureServer:
    """Configuration of an HTTPS server.

    Attributes
    ----------
    hosts
        Hosts for URLs on other devices, best first.
    name
        The name to announce; None without multicast DNS, or if the certificate does not list it.
    authority
        None with a user-supplied certificate, whose issuer the phones already trust.
    renew_from
        Time from which the certificate should be renewed.
    told
        Messages for the terminal.
    """

    chain: Path
    key: Path
    port: int
    plain_port: int
    place: ServerHosts
    hosts: tuple[str, ...]
    name: str | None
    authority: Authority | None
    renew_from: datetime
    told: tuple[str, ...] = ()

    @property
    def bases(self) -> tuple[str, ...]:
        """HTTPS URLs for other devices, best first."""
        return tuple(self.base(host) for host in self.hosts)

    def base(self, host: str) -> str:
        """The HTTPS URL with that host."""
        return f"https://{bracketed(host)}:{self.port}"

    def trust_base(self, host: str) -> str:
        """Start URL for a device that must trust the authority, with that host if the certificate lists it.

        Credentials go after the ``#``, which browsers do not send, because the URL is plain HTTP.
        """
        return f"http://{bracketed(host if host in self.hosts else self.hosts[-1])}:{self.plain_port}/trust#"

    def covers(self, host: str) -> bool:
        """Whether the certificate covers a host; a wildcard matches one label (RFC 6125 6.4.3)."""
        rest = host.partition(".")[2]
        return host in {*self.place.names, *map(str, self.place.addresses)} or f"*.{rest}" in self.place.names


def make(folder: Path, wish: SecureOptions, now: datetime | None = None) -> SecureServer:
    """Prepare the HTTPS server; raises CertificateError."""
    now = now or datetime.now(UTC)
    if wish.certificate is not None and wish.key is not None:
        return _with_own(wish, wish.certificate, wish.key, now)
    told: list[str] = []
    found = listening(wish.host)
    name = _name(folder, found, told)
    place = ServerHosts.here(wish.host, name or f"{announce.NAME}.local")
    kept = certificates.prepare(folder / FOLDER, place, now)
    told += [
        f"{address} is no address of a private network, so the certificate does not name it."
        for address in found
        if not is_private(address)
    ]
    hosts = (*filter(None, [name]), *map(str, place.network)) or ("localhost",)
    return SecureServer(
        chain=kept.chain,
        key=kept.key,
        port=wish.port,
        plain_port=wish.plain_port,
        place=place,
        hosts=hosts,
        name=name,
        authority=_authority(kept.authority),
        renew_from=kept.leaf.not_valid_after_utc - LEFT,
        told=(*kept.told, *told),
    )


def bracketed(host: str) -> str:
    """A host in URL form, with brackets around IPv6."""
    return f"[{host}]" if ":" in host else host


def _name(folder: Path, addresses: list[IP], told: list[str]) -> str | None:
    try:
        return announce.free_name(folder / FOLDER / NAME_FILE, addresses)
    except announce.NotAnnounced as error:
        told.append(f"No name could be had in the network ({error}); everything else works, by address.")
        return None


def _with_own(wish: SecureOptions, certificate: Path, key: Path, now: datetime) -> SecureServer:
    listed = own.check(certificate, key, now)
    name = next((name for name in listed.names if name in announce.names()), None)
    return SecureServer(
        chain=certificate,
        key=key,
        port=wish.port,
        plain_port=wish.plain_port,
        place=ServerHosts(listed.names, listed.addresses),
        hosts=listed.hosts,
        name=name,
        authority=None,
        renew_from=listed.ends - own.SOON,
        told=listed.told,
    )


def _authority(certificate: x509.Certificate) -> Authority:
    title = certificate.subject.get_attributes_for_oid(x509.NameOID.COMMON_NAME)[0].value
    return Authority(
        certificate.public_bytes(Encoding.DER),
        str(title),
        fingerprint(certificate),
        certificate.serial_number,
        certificate.not_valid_after_utc,
    )
