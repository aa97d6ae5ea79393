"""Mosquitto in its own process on loopback, with TLS and passwords, for tests that need a real broker.

`Broker` starts, stalls, resumes and kills it; `Voice` is a sender, and hears all that is published.
"""

import datetime as dt
import getpass
import ipaddress
import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Self

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from tests.ports import held_port

_PATH = os.environ.get("PATH", "") + os.pathsep + os.pathsep.join(("/usr/sbin", "/usr/local/sbin"))
MOSQUITTO = shutil.which("mosquitto", path=_PATH)
PASSWD = shutil.which("mosquitto_passwd", path=_PATH)
MISSING = None if MOSQUITTO and PASSWD else "Mosquitto (Debian: mosquitto) is not here"

USER, PASSWORD = "drumside", "Night Ferry 7"


class Broker:
    """The broker for a test: ``port`` is plain, ``tls_port`` is not. Use it in a ``with``."""

    def __init__(self, folder: Path) -> None:
        self.port, self.tls_port = held_port(), held_port()
        self.ca_file = folder / "ca.pem"
        self._config = folder / "mosquitto.conf"
        self._process: subprocess.Popen[bytes] | None = None
        _certificates(folder)
        passwords = folder / "passwords"
        subprocess.run([str(PASSWD), "-c", "-b", str(passwords), USER, PASSWORD], check=True, capture_output=True)
        self._config.write_text(
            f"user {getpass.getuser()}\n"
            f"per_listener_settings false\nallow_anonymous false\npassword_file {passwords}\npersistence false\n"
            f"log_dest none\nlistener {self.port} 127.0.0.1\n"
            f"listener {self.tls_port} 127.0.0.1\ncertfile {folder / 'cert.pem'}\nkeyfile {folder / 'key.pem'}\n"
        )

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()

    def start(self) -> None:
        """Start it, and wait until it listens."""
        self._process = subprocess.Popen([str(MOSQUITTO), "-c", str(self._config)])  # ended in kill()
        for port in (self.port, self.tls_port):
            end_s = time.monotonic() + 20
            while True:
                try:
                    socket.create_connection(("127.0.0.1", port), 1).close()
                    break
                except OSError:
                    assert self._process.poll() is None, "Mosquitto ended"
                    assert time.monotonic() < end_s, "Mosquitto never listened"
                    time.sleep(0.02)

    def kill(self) -> None:
        """End it like a power cut."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def stall(self) -> None:
        """Make it hold its connections and send nothing."""
        assert self._process is not None
        os.kill(self._process.pid, signal.SIGSTOP)

    def resume(self) -> None:
        """Resume after `stall`."""
        assert self._process is not None
        os.kill(self._process.pid, signal.SIGCONT)


class Voice:
    """A sender that also hears everything. Use it in a ``with``."""

    def __init__(self, broker: Broker) -> None:
        self.heard: list[tuple[str, str, bool]] = []  # topic, text, whether retained
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.username_pw_set(USER, PASSWORD)
        self._client.on_message = lambda _client, _data, message: self.heard.append(
            (message.topic, message.payload.decode(errors="replace"), bool(message.retain))
        )
        self._client.connect("127.0.0.1", broker.port)
        self._client.loop_start()
        self._client.subscribe("#", qos=1)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def say(self, topic: str, text: str | bytes, *, retain: bool = False) -> None:
        """Publish, and wait until the broker has the message."""
        self._client.publish(topic, text, qos=1, retain=retain).wait_for_publish(10)

    def say_all(self, topic: str, texts: Iterable[str]) -> None:
        """Publish one after the other, and wait only then: each wait takes the 40 ms of a delayed acknowledgement."""
        for sent in [self._client.publish(topic, text, qos=1) for text in texts]:
            sent.wait_for_publish(10)


def _certificates(folder: Path) -> None:
    """An authority of our own and a certificate for 127.0.0.1 that it signed."""
    now = dt.datetime.now(dt.UTC)
    ca_key, key = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    ca_name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Quillwater test authority")])
    builder = x509.CertificateBuilder().not_valid_before(now - dt.timedelta(days=1))
    builder = builder.not_valid_after(now + dt.timedelta(days=1)).issuer_name(ca_name)
    ca = (
        builder.subject_name(ca_name)
        .public_key(ca_key.public_key())
        .serial_number(x509.random_serial_number())
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .sign(ca_key, hashes.SHA256())
    )
    leaf = (
        builder.subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "broker")]))
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]), critical=False)
        .sign(ca_key, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    (folder / "ca.pem").write_bytes(ca.public_bytes(pem))
    (folder / "cert.pem").write_bytes(leaf.public_bytes(pem))
    (folder / "key.pem").write_bytes(
        key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    )
