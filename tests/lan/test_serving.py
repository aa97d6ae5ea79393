"""`serve --lan` as a separate process, queried over TLS by Python's ssl; and invalid command lines."""

import http.client
import json
import re
import ssl
import stat
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.request import Request, urlopen

import pytest
from zeroconf import AddressResolver, DNSQuestionType, IPVersion, Zeroconf

from roastlog import commands
from roastlog.errors import SettingError
from roastlog.web import server as serving
from tests.browser.server import ROOT, Server
from tests.lan.test_own import NAMES, Maker
from tests.ports import held_port


@dataclass(frozen=True)
class Lan:
    """A server with `--lan` on loopback."""

    server: Server
    folder: Path
    port: int

    @property
    def plain_port(self) -> int:
        """Port of its plain door."""
        return int(self.server.url.rpartition(":")[2])

    @property
    def said(self) -> str:
        """Output of its terminal."""
        return self.folder.with_suffix(".log").read_text(encoding="utf-8")

    def trusting(self) -> ssl.SSLContext:
        """TLS context of a phone that trusts only this authority."""
        return ssl.create_default_context(cafile=str(self.folder / "lan" / "authority.pem"))

    def get(self, path: str, host: str = "localhost", **headers: str) -> http.client.HTTPResponse:
        """GET over TLS."""
        request = Request(f"https://{host}:{self.port}{path}", headers=headers)
        return urlopen(request, context=self.trusting(), timeout=10)


@pytest.fixture(scope="module")
def lan(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lan]:
    """One server for the tests that only query it; no other test uses its name."""
    folder, port = tmp_path_factory.mktemp("lan") / "data", held_port()
    (folder / "lan").mkdir(mode=0o755, parents=True)
    (folder / "lan" / "name").write_text("drumside-7.local", encoding="ascii")
    server = Server.start(folder, "serve", "--lan", "--secure-port", str(port))
    yield Lan(server, folder, port)
    assert server.stop() == []


def test_page_comes_over_tls(lan: Lan):
    """By its authority alone, by name and by address, and the server knows that the request is secure."""
    for host in ("localhost", "127.0.0.1"):
        with lan.get("/healthz", host) as answer:
            assert json.load(answer)["status"] == "ok"
    with lan.get("/pair") as answer:
        assert answer.status == 200
        assert "Strict-Transport-Security" not in answer.headers


def test_http_2_and_tls_1_2_are_spoken(lan: Lan):
    """HTTP/2 is negotiated (RFC 7301), and a phone with TLS 1.2 only is accepted."""
    import socket

    context = lan.trusting()
    context.set_alpn_protocols(["h2", "http/1.1"])
    context.maximum_version = ssl.TLSVersion.TLSv1_2
    wire = socket.create_connection(("127.0.0.1", lan.port), 10)
    with wire, context.wrap_socket(wire, server_hostname="drumside-7.local") as phone:
        assert (phone.selected_alpn_protocol(), phone.version()) == ("h2", "TLSv1.2")


def test_wrong_name_and_missing_trust_are_refused(lan: Lan):
    """A name missing from the certificate, and a phone that trusts another authority, are refused."""
    import socket

    for context, name, why in (
        (lan.trusting(), "drumside-6.local", "mismatch"),
        (ssl.create_default_context(), "localhost", "unable to get local issuer|self-signed"),
    ):
        wire = socket.create_connection(("127.0.0.1", lan.port), 10)
        with wire, pytest.raises(ssl.SSLCertVerificationError, match=why):
            context.wrap_socket(wire, server_hostname=name)


def test_door_beside_it_leads_to_trust(lan: Lan):
    """The other port serves the trust page under its name, and redirects everything else to the secure page."""
    door = http.client.HTTPConnection("127.0.0.1", lan.plain_port, timeout=10)
    for path, status, location in (
        ("/trust", 200, None),
        ("/batches", 307, f"https://drumside-7.local:{lan.port}/batches"),
        ("/api/batches", 403, None),
    ):
        door.request("GET", path, headers={"Host": "drumside-7.local"})
        answer = door.getresponse()
        answer.read()
        assert (answer.status, answer.headers["Location"]) == (status, location)
    door.close()


def test_terminal_shows_addresses_and_fingerprint(lan: Lan):
    """The terminal shows the QR's link, the secure address, the same fingerprint as the page, and a corrected mode."""
    assert re.search(rf"http://drumside-7\.local:{lan.plain_port}/trust#[\w-]{{32}}\n", lan.said)
    assert f"https://drumside-7.local:{lan.port}/" in lan.said
    number = re.findall(r"^  ((?:[0-9A-F]{4} ?){8})$", lan.said, re.MULTILINE)
    with lan.get("/trust") as page:
        text = page.read().decode()
    assert " ".join(re.findall(r"<span>([0-9A-F]{4})</span>", text)) == " ".join(number)
    assert "Others on this computer could open" in lan.said
    assert stat.S_IMODE((lan.folder / "lan").stat().st_mode) == 0o700


def test_name_is_announced_by_the_process(lan: Lan):
    """Another host finds the name while it runs."""
    wire = Zeroconf(interfaces=["127.0.0.1"], ip_version=IPVersion.V4Only)
    answer = AddressResolver("drumside-7.local.")
    assert answer.request(wire, 10_000, DNSQuestionType.QM)
    wire.close()
    assert answer.parsed_addresses() == ["127.0.0.1"]


def test_pair_beside_it_leads_through_trust(lan: Lan):
    """The command `pair` prints the same link."""
    words = [sys.executable, "app.py", "pair", "--data", str(lan.folder)]
    said = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert f"http://drumside-7.local:{lan.plain_port}/trust#" in said


def test_own_certificate_is_served(tmp_path: Path):
    """With `--cert` and `--key` that certificate is served, and the phone validates its issuer."""
    from datetime import UTC, datetime

    own, port = Maker(tmp_path), held_port()
    own.make(NAMES, datetime.now(UTC))
    words = ["--secure-port", str(port), "--cert", str(own.certificate), "--key", str(own.key)]
    server = Server.start(tmp_path / "data", "serve", "--lan", *words)
    try:
        shown = ssl.get_server_certificate(("127.0.0.1", port))
        assert shown.split() == own.certificate.read_text(encoding="ascii").split()
        assert not (tmp_path / "data" / "lan").exists()
    finally:
        assert server.stop() == []


def test_proxy_is_trusted_only_with_the_option(tmp_path: Path):
    """Without the option forwarded headers make a client a stranger; with it no address gives owner access."""
    forwarded = {"X-Forwarded-For": "192.0.2.44", "X-Forwarded-Proto": "https", "X-Forwarded-Host": "roast.lan"}

    def status(server: Server, headers: dict[str, str]) -> tuple[int, str | None]:
        wire = http.client.HTTPConnection(server.url.removeprefix("http://"), timeout=10)
        wire.request("GET", "/settings", headers=headers)
        answer = wire.getresponse()
        answer.read()
        wire.close()
        return answer.status, answer.headers["Strict-Transport-Security"]

    for words, expected in (
        ([], [(200, None), (401, None)]),
        (["--behind-proxy"], [(401, None), (401, "max-age=31536000")]),
    ):
        server = Server.start(tmp_path / "-".join(["data", *words]), "serve", *words)
        try:
            assert [status(server, {}), status(server, forwarded)] == expected
        finally:
            assert server.stop() == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--cert", "a.pem"], "--cert and --key belong together"),
        (["--lan", "--key", "a.pem"], "--cert and --key belong together"),
        (["--cert", "a.pem", "--key", "b.pem"], "add --lan"),
        (["--lan", "--behind-proxy"], "exclude each other"),
        (["--behind-proxy", "-1"], "number of proxies"),
        (["--lan", "--cert", "no.pem", "--key", "no.pem"], "no.pem cannot be read"),
    ],
)
def test_invalid_command_lines_are_refused(tmp_path: Path, words: list[str], said: str):
    """Each invalid command line ends with a message before anything is created."""
    with pytest.raises(SystemExit, match=said):
        commands.main(["serve", "--data", str(tmp_path / "data"), "--host", "127.0.0.1", *words])


def test_where_no_server_speaks_tls_it_is_reported(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """On other systems than Linux the message names both alternatives."""
    monkeypatch.setattr(sys, "platform", "win32")
    with pytest.raises(SettingError, match="needs Linux") as refused:
        serving.secured(tmp_path, "127.0.0.1", 8080, 8443)
    assert "--host 0.0.0.0" in str(refused.value)
    assert "proxy" in str(refused.value)


def test_start_without_lan_loads_none_of_it(tmp_path: Path):
    """A server without the option starts without cryptography and zeroconf."""
    script = (
        "import sys; from pathlib import Path; from roastlog.web.server import Serving, _open; "
        f"app, services = _open(Serving(Path({str(tmp_path)!r}))); services.close(); "
        "print({'cryptography', 'zeroconf', 'ifaddr', 'roastlog.lan.secure'} & set(sys.modules))"
    )
    said = subprocess.run([sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert said.strip() == "set()"
