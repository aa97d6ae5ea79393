"""The certificate authority of a data folder and its server certificate. No file access here.

An authority that a phone trusts could certify any address. This one has name constraints to private names and
addresses, marked critical as RFC 5280 4.2.1.10 requires: a device without support for them rejects the authority
instead of trusting it without limits.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from roastlog.lan.addresses import PRIVATE, ZONES, ServerHosts, computer

AUTHORITY_LASTS: Final = timedelta(days=3650)
VALIDITY: Final = timedelta(days=397)  # iOS accepts at most 825; public authorities may issue at most 398
BACKDATE: Final = timedelta(days=1)  # a phone's clock may be behind
LEFT: Final = VALIDITY / 3


@dataclass(frozen=True)
class KeyPair:
    """A certificate and its key."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    @property
    def fits(self) -> bool:
        """Whether the key belongs to the certificate."""
        return bool(self.key.public_key() == self.certificate.public_key())


def new_authority(now: datetime) -> KeyPair:
    """Create a certificate authority for this computer."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, "Drumside"),
            x509.NameAttribute(NameOID.COMMON_NAME, f"Drumside on {computer()[:40]} ({now:%Y-%m-%d})"),
        ]
    )
    limits = [x509.DNSName(zone) for zone in ZONES] + [x509.IPAddress(network) for network in PRIVATE]
    identifier = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    certificate = (
        _builder(name, name, key.public_key(), now, now + AUTHORITY_LASTS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(permitted_subtrees=limits, excluded_subtrees=None), critical=True)
        .add_extension(identifier, critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier), critical=False)
        .sign(key, hashes.SHA256())
    )
    return KeyPair(certificate, key)


def issue(authority: KeyPair, place: ServerHosts, now: datetime) -> KeyPair:
    """Issue a certificate for the names and addresses of this computer."""
    key = ec.generate_private_key(ec.SECP256R1())
    issuer = authority.certificate
    identifier = issuer.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, place.names[0])])
    names = [x509.DNSName(name) for name in place.names]
    addresses = [x509.IPAddress(address) for address in place.addresses]
    ends = min(now - BACKDATE + VALIDITY, issuer.not_valid_after_utc)
    certificate = (
        _builder(subject, issuer.subject, key.public_key(), now, ends)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([*names, *addresses]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier), critical=False)
        .sign(authority.key, hashes.SHA256())
    )
    return KeyPair(certificate, key)


def is_current(authority: KeyPair, leaf: KeyPair, place: ServerHosts, now: datetime) -> bool:
    """Whether a certificate is ours, covers the current names and addresses, and has a third of its validity left."""
    try:
        leaf.certificate.verify_directly_issued_by(authority.certificate)
    except Exception:  # noqa: BLE001 - any error means that a new one is needed
        return False
    starts, ends = leaf.certificate.not_valid_before_utc, leaf.certificate.not_valid_after_utc
    return leaf.fits and not missing_names(leaf.certificate, place) and starts <= now < ends - LEFT


def missing_names(certificate: x509.Certificate, place: ServerHosts) -> list[str]:
    """Names and addresses that are missing in a certificate. Additional ones do no harm."""
    named = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    names, addresses = named.get_values_for_type(x509.DNSName), named.get_values_for_type(x509.IPAddress)
    return [name for name in place.names if name not in names] + [
        str(address) for address in place.addresses if address not in addresses
    ]


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 in groups of four, for comparison by eye."""
    digest = certificate.fingerprint(hashes.SHA256()).hex().upper()
    return " ".join(digest[start : start + 4] for start in range(0, len(digest), 4))


def _builder(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, now: datetime, ends: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now.astimezone(UTC) - BACKDATE)
        .not_valid_after(ends.astimezone(UTC))
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=False,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )
