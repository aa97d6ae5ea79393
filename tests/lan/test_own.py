"""A user's own certificate: each mistake is reported in words before the start."""

import ipaddress
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    NoEncryption,
    PrivateFormat,
)
from cryptography.x509.oid import NameOID

from roastlog.errors import CertificateError
from roastlog.lan.own import check

NOW = datetime(2027, 3, 1, 8, tzinfo=UTC)
NAMES = [
    x509.DNSName("roast.example"),
    x509.DNSName("*.roast.example"),
    x509.IPAddress(ipaddress.ip_address("127.0.0.2")),
]


class Maker:
    """Makes certificates with mistakes, as files."""

    def __init__(self, folder: Path) -> None:
        self.certificate, self.key = folder / "cert.pem", folder / "key.pem"
        self.secret: ec.EllipticCurvePrivateKey | rsa.RSAPrivateKey = ec.generate_private_key(ec.SECP256R1())

    def make(self, names: list[x509.GeneralName], starts: datetime = NOW, days: int = 90) -> bytes:
        """A self-signed certificate, which both files contain from now on."""
        name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "roast.example")])
        builder = x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(self.secret.public_key())
        builder = builder.serial_number(7).not_valid_before(starts).not_valid_after(starts + timedelta(days=days))
        if names:
            builder = builder.add_extension(x509.SubjectAlternativeName(names), critical=False)
        content = builder.sign(self.secret, hashes.SHA256()).public_bytes(Encoding.PEM)
        self.certificate.write_bytes(content)
        self.lock(NoEncryption())
        return content

    def lock(self, by: NoEncryption | BestAvailableEncryption) -> None:
        """Write the key."""
        self.key.write_bytes(self.secret.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, by))
        self.key.chmod(0o600)

    def refusal(self, now: datetime = NOW) -> str:
        """The reason of the refusal."""
        with pytest.raises(CertificateError) as refused:
            check(self.certificate, self.key, now)
        return str(refused.value)


@pytest.fixture
def maker(tmp_path: Path) -> Maker:
    """A maker in a folder of the test."""
    made = Maker(tmp_path)
    made.make(NAMES)
    return made


@pytest.mark.parametrize("secret", [ec.generate_private_key(ec.SECP384R1()), rsa.generate_private_key(65537, 2048)])
def test_a_good_one_says_its_names(maker, secret):
    """Its names and addresses are used, with any kind of key; a wildcard is in no link."""
    maker.secret = secret
    maker.make(NAMES)
    found = check(maker.certificate, maker.key, NOW + timedelta(days=1))
    assert found.names == ("roast.example", "*.roast.example")
    assert found.hosts == ("roast.example", "127.0.0.2")
    assert found.told == ()


def test_one_that_ends_soon_is_reported(maker):
    """It is used, and a message names the day."""
    assert "30 May 2027" in " ".join(check(maker.certificate, maker.key, NOW + timedelta(days=75)).told)


def test_key_that_others_can_open_is_reported(maker):
    """The permissions are reported but not changed, since the file is the user's."""
    maker.key.chmod(0o644)
    assert check(maker.certificate, maker.key, NOW).told == (f"Others on this computer can open {maker.key}.",)


def test_key_of_another_certificate(maker):
    """A key that does not match the certificate is refused."""
    maker.secret = ec.generate_private_key(ec.SECP256R1())
    maker.lock(NoEncryption())
    assert "is not that of the certificate" in maker.refusal()


def test_chain_in_the_wrong_order(maker, tmp_path):
    """If the server's certificate comes later, the order is reported, not a wrong key."""
    other = tmp_path / "other"
    other.mkdir()
    first = Maker(other).make(NAMES)
    maker.certificate.write_bytes(first + maker.certificate.read_bytes())
    assert "must begin with the server's own certificate" in maker.refusal()


def test_out_of_date(maker):
    """An expired certificate and a future one are reported with the day."""
    assert "was valid until 30 May 2027" in maker.refusal(NOW + timedelta(days=91))
    assert "valid from 01 Mar 2027" in maker.refusal(NOW - timedelta(days=1))


def test_no_names(maker):
    """A name in the subject alone is not valid for browsers (RFC 9525 6.3; browsers dropped it, from memory)."""
    maker.make([])
    assert "lists no name" in maker.refusal()


def test_key_with_a_password(maker):
    """An encrypted key is refused, since nobody can type its password."""
    maker.lock(BestAvailableEncryption(b"secret"))
    assert "locked with a password" in maker.refusal()


def test_files_that_are_something_else(maker, tmp_path):
    """A missing file, a folder, and a file with other content are reported by name."""
    good = maker.certificate.read_bytes()
    maker.certificate.write_bytes(b"hello")
    assert f"{maker.certificate} holds no certificate" in maker.refusal()
    maker.certificate.write_bytes(good)
    maker.key.write_bytes(good)
    assert f"{maker.key} holds no private key" in maker.refusal()
    maker.key.unlink()
    assert f"{maker.key} cannot be read (No such file" in maker.refusal()
    maker.key = tmp_path
    assert f"{tmp_path} cannot be read (Is a directory" in maker.refusal()
