"""The authority and its certificates, verified by cryptography and by OpenSSL through Python's ssl."""

import ipaddress
import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import ExtendedKeyUsageOID
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from roastlog.lan.addresses import ServerHosts
from roastlog.lan.authority import LEFT, KeyPair, fingerprint, is_current, issue, missing_names, new_authority
from tests.lan.hand import shake

NOW = datetime.now(UTC).replace(microsecond=0)
HOME = ipaddress.ip_address("127.0.7.20")
PLACE = ServerHosts(("drumside.local", "roastery.lan", "localhost"), (HOME, ipaddress.ip_address("::1")))


@pytest.fixture(scope="module")
def authority() -> KeyPair:
    """A new authority."""
    return new_authority(NOW)


def verified(authority: KeyPair, leaf: KeyPair, subject: x509.DNSName | x509.IPAddress, at: datetime = NOW) -> None:
    """Raise VerificationError unless the certificate is valid for a subject at a time."""
    policy = PolicyBuilder().store(Store([authority.certificate])).time(at)
    policy.build_server_verifier(subject).verify(leaf.certificate, [])


def written(folder: Path, authority: KeyPair, leaf: KeyPair) -> tuple[Path, Path, Path]:
    """Chain, key and authority as files."""
    chain, key, root = folder / "chain.pem", folder / "key.pem", folder / "root.pem"
    root.write_bytes(authority.certificate.public_bytes(Encoding.PEM))
    chain.write_bytes(leaf.certificate.public_bytes(Encoding.PEM) + root.read_bytes())
    key.write_bytes(leaf.key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    return chain, key, root


def test_verifier_takes_every_name_and_address(authority):
    """The verifier of cryptography (RFC 5280, with the rules of the CA/Browser Forum) accepts each name and address."""
    leaf = issue(authority, PLACE, NOW)
    for name in PLACE.names:
        verified(authority, leaf, x509.DNSName(name))
    for address in PLACE.addresses:
        verified(authority, leaf, x509.IPAddress(address))


def test_verifier_refuses_other_names_and_times(authority):
    """Another name, another address, the time before and the time after are refused."""
    leaf = issue(authority, PLACE, NOW)
    wrong = [(x509.DNSName("other.local"), NOW), (x509.IPAddress(ipaddress.ip_address("127.0.7.21")), NOW)]
    wrong += [(x509.DNSName("localhost"), NOW + timedelta(days=398)), (x509.DNSName("localhost"), NOW - timedelta(2))]
    for subject, at in wrong:
        with pytest.raises(VerificationError):
            verified(authority, leaf, subject, at)


@pytest.mark.parametrize("stolen", ["example.com", "bank.example", "local.example", "203.0.113.8", "2001:db8::1"])
def test_stolen_key_cannot_vouch_for_the_world(authority, tmp_path, stolen):
    """Both verifiers refuse a certificate for a public name or address made with the authority's own key."""
    try:
        place, subject = (
            ServerHosts(("x.local",), (ipaddress.ip_address(stolen),)),
            x509.IPAddress(ipaddress.ip_address(stolen)),
        )
    except ValueError:
        place, subject = ServerHosts((stolen,), ()), x509.DNSName(stolen)
    leaf = issue(authority, place, NOW)
    with pytest.raises(VerificationError):
        verified(authority, leaf, subject)
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        shake(*written(tmp_path, authority, leaf), stolen)


def test_openssl_takes_names_and_addresses_and_no_others(authority, tmp_path):
    """Python's ssl, trusting only this authority, shakes hands for each name and address and for no other."""
    files = written(tmp_path, authority, issue(authority, PLACE, NOW))
    for host in [*PLACE.names, *map(str, PLACE.addresses)]:
        assert shake(*files, host) == "TLSv1.3"
    for host in ("other.local", "127.0.7.21"):
        with pytest.raises(ssl.SSLCertVerificationError, match="mismatch"):
            shake(*files, host)


def test_openssl_refuses_an_expired_certificate_and_another_authority(authority, tmp_path):
    """A certificate that ended yesterday is refused, and so is one of another authority."""
    old = issue(authority, PLACE, NOW - timedelta(days=397))
    with pytest.raises(ssl.SSLCertVerificationError, match="expired"):
        shake(*written(tmp_path, authority, old), "localhost")
    chain, key, _ = written(tmp_path, authority, issue(authority, PLACE, NOW))
    root = tmp_path / "other.pem"
    root.write_bytes(new_authority(NOW).certificate.public_bytes(Encoding.PEM))
    with pytest.raises(ssl.SSLCertVerificationError):
        shake(chain, key, root, "localhost")


def test_certificate_meets_the_requirements_of_phones(authority):
    """It has P-256, server authentication, names, and at most 397 days (Apple's limit, from memory)."""
    leaf = issue(authority, PLACE, NOW).certificate
    key = leaf.public_key()
    assert isinstance(key, ec.EllipticCurvePublicKey)
    assert key.curve.name == "secp256r1"
    usage = leaf.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert list(usage) == [ExtendedKeyUsageOID.SERVER_AUTH]
    assert leaf.not_valid_after_utc - leaf.not_valid_before_utc <= timedelta(days=397)
    assert leaf.not_valid_before_utc < NOW - timedelta(hours=12), "a phone's clock may be behind"


def test_authority_is_limited_and_says_so_critically(authority):
    """The constraints are critical (RFC 5280 4.2.1.10: must be), and the authority cannot create sub-authorities."""
    extensions = authority.certificate.extensions
    limits = extensions.get_extension_for_class(x509.NameConstraints)
    assert limits.critical
    assert {one.value for one in limits.value.permitted_subtrees if isinstance(one, x509.DNSName)} == {
        *("local", "lan", "home.arpa", "localhost")
    }
    basic = extensions.get_extension_for_class(x509.BasicConstraints).value
    assert (basic.ca, basic.path_length) == (True, 0)


def test_certificate_never_outlasts_its_authority(authority):
    """In the authority's last year a certificate ends together with it."""
    late = authority.certificate.not_valid_after_utc - timedelta(days=30)
    assert issue(authority, PLACE, late).certificate.not_valid_after_utc == authority.certificate.not_valid_after_utc


def test_when_a_certificate_serves_no_more(authority):
    """A certificate is valid until a third of its time is left, if names, issuer and key match."""
    leaf = issue(authority, PLACE, NOW)
    ends = leaf.certificate.not_valid_after_utc
    fewer = ServerHosts(PLACE.names[:1], PLACE.addresses[:1])
    more = ServerHosts(PLACE.names, (*PLACE.addresses, ipaddress.ip_address("127.0.0.9")))
    assert is_current(authority, leaf, PLACE, ends - LEFT - timedelta(minutes=1))
    assert not is_current(authority, leaf, PLACE, ends - LEFT)
    assert not is_current(authority, leaf, PLACE, NOW - timedelta(days=2)), "not valid yet"
    assert is_current(authority, leaf, fewer, NOW), "what it lists beside them does no harm"
    assert not is_current(authority, leaf, more, NOW)
    assert missing_names(leaf.certificate, more) == ["127.0.0.9"]
    assert not is_current(new_authority(NOW), leaf, PLACE, NOW)
    assert not is_current(authority, KeyPair(leaf.certificate, ec.generate_private_key(ec.SECP256R1())), PLACE, NOW)


def test_fingerprint_is_sha256_of_the_file(authority):
    """The fingerprint equals hashlib's of the file that a phone downloads."""
    import hashlib

    digest = hashlib.sha256(authority.certificate.public_bytes(Encoding.DER)).hexdigest()
    assert fingerprint(authority.certificate).replace(" ", "").lower() == digest
