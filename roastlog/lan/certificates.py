"""The certificates of a data folder, in its folder ``lan``: created once, checked at each start."""

import os
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec

from roastlog.errors import CertificateError
from roastlog.lan.addresses import ServerHosts
from roastlog.lan.authority import VALIDITY, KeyPair, fingerprint, is_current, issue, new_authority
from roastlog.private import tighten

AUTHORITY: Final = "authority"
SERVER: Final = "server"


@dataclass(frozen=True)
class Certificates:
    """Certificates for a server, with messages about completed and required actions."""

    chain: Path
    key: Path
    leaf: x509.Certificate
    authority: x509.Certificate
    told: tuple[str, ...] = ()

    @property
    def fingerprint(self) -> str:
        """Fingerprint of the authority, for comparison by eye."""
        return fingerprint(self.authority)


def prepare(folder: Path, place: ServerHosts, now: datetime) -> Certificates:
    """Load the stored certificates, or create new ones if they are missing or no longer valid.

    Raises
    ------
    CertificateError
        If they can neither be read nor created.
    """
    try:
        return _prepare(folder, place, now)
    except OSError as error:
        raise CertificateError(
            f"The certificates in {folder} cannot be read or written ({error.strerror or error}). Put that right, or "
            "start without --lan: everything but the secure page works."
        ) from None


def _prepare(folder: Path, place: ServerHosts, now: datetime) -> Certificates:
    told = _private(folder)
    authority = _authority(folder, now)
    if authority is None:
        authority = new_authority(now)
        _keep(folder, AUTHORITY, authority, [authority.certificate])
        told.append("A certificate authority was made for this computer; each phone has to trust it once.")
    ends = authority.certificate.not_valid_after_utc
    if ends - now < VALIDITY:
        told.append(
            f"The certificate authority ends on {ends:%d %b %Y}. Stop Drumside and remove the folder {folder} to have "
            "a new one made at the next start; each phone then has to trust that one."
        )
    leaf = _read(folder, SERVER)
    if leaf is None or not is_current(authority, leaf, place, now):
        renewed = leaf is not None
        leaf = issue(authority, place, now)
        _keep(folder, SERVER, leaf, [leaf.certificate, authority.certificate])
        if renewed:
            told.append("The certificate was renewed; phones that trust the authority need nothing.")
    return Certificates(
        folder / f"{SERVER}.pem", folder / f"{SERVER}-key.pem", leaf.certificate, authority.certificate, tuple(told)
    )


def _authority(folder: Path, now: datetime) -> KeyPair | None:
    """The stored authority; None if there is none or it has expired."""
    there = [path for path in (folder / f"{AUTHORITY}.pem", folder / f"{AUTHORITY}-key.pem") if path.exists()]
    if not there:
        return None
    kept = _read(folder, AUTHORITY)
    if kept is None or not kept.fits:
        raise CertificateError(
            f"The certificate authority in {folder} is damaged, or one of its two files is missing. Bring them back "
            "from a copy, or remove that folder to have a new one made: each phone then has to trust that one."
        )
    if now < kept.certificate.not_valid_before_utc:
        raise CertificateError(
            f"This computer's clock says {now:%d %b %Y}, which is before its certificate authority was made. "
            "Set the clock, or start without --lan."
        )
    return kept if now < kept.certificate.not_valid_after_utc else None


def _private(folder: Path) -> list[str]:
    """Restrict the keys to their owner; returns messages about corrected permissions."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return [
        f"Others on this computer could open {path}; now only you can. If somebody may have copied a key, "
        f"remove the folder {folder}: a new authority is made, which each phone has to trust."
        for path in [folder, *sorted(folder.glob("*-key.pem"))]
        if tighten(path)
    ]


def _read(folder: Path, name: str) -> KeyPair | None:
    """A certificate with its key; None if missing or unreadable."""
    with suppress(FileNotFoundError, ValueError, TypeError, UnsupportedAlgorithm):
        certificate = x509.load_pem_x509_certificate((folder / f"{name}.pem").read_bytes())
        key = serialization.load_pem_private_key((folder / f"{name}-key.pem").read_bytes(), None)
        return KeyPair(certificate, key) if isinstance(key, ec.EllipticCurvePrivateKey) else None
    return None


def _keep(folder: Path, name: str, pair: KeyPair, chain: list[x509.Certificate]) -> None:
    pem = serialization.Encoding.PEM
    secret = pair.key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    _write(folder / f"{name}-key.pem", secret, 0o600)
    _write(folder / f"{name}.pem", b"".join(one.public_bytes(pem) for one in chain), 0o644)


def _write(path: Path, content: bytes, mode: int) -> None:
    """Write atomically, without ever being readable by others."""
    half = path.with_suffix(".new")
    half.unlink(missing_ok=True)
    with os.fdopen(os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    half.replace(path)
