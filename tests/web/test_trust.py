"""The plain door, the trust pages, and the page about a device's features."""

import plistlib
from dataclasses import replace
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from cryptography import x509
from werkzeug.test import Client, TestResponse

from roastlog.lan.secure import SecureServer
from roastlog.web.http.roles import LEAST
from roastlog.web.public.plain_door import OPEN, Door
from tests.conftest import Bench
from tests.web.walk import addresses, browser, secured

PHONE = {"REMOTE_ADDR": "192.0.2.44", "HTTP_HOST": "drumside.local:8080"}
IPHONE = {"HTTP_USER_AGENT": "Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 Safari/604.1"}
ANDROID = {
    "HTTP_USER_AGENT": "Mozilla/5.0 (Linux; Android 15; K) AppleWebKit/537.36 Chrome/140.0.0.0 Mobile Safari/537.36"
}


@pytest.fixture
def secure(bench: Bench, tmp_path: Path) -> SecureServer:
    """The app with TLS."""
    made = bench.app.extensions["secure"] = secured(tmp_path)
    return made


@pytest.fixture
def door(bench: Bench, secure: SecureServer) -> Client:
    """The plain door before the app."""
    return Client(Door(bench.app, secure))


def from_phone(door: Client, path: str, method: str = "GET", **more: str) -> TestResponse:
    """The answer to a phone in the network."""
    return door.open(path, method=method, environ_overrides={**PHONE, **more})


def test_door_gives_a_phone_the_pages_of_trust_and_nothing_else(bench: Bench, door: Client):
    """Of all addresses four answer, other pages redirect to the secure one, requests of programs are refused."""
    code = bench.roast(30)
    given = set()
    for method, path, endpoint in addresses(bench, code):
        answer = from_phone(door, path, method)
        assert code.encode() not in answer.data
        if answer.status_code == 200:
            given.add(endpoint)
        elif method != "GET" or path.startswith("/api/"):
            assert answer.status_code == 403, path
            assert "https://drumside.local:8443" in answer.text
        elif path == "/":
            assert answer.location == "/trust"
        else:
            assert answer.status_code in {307, 404}, path
            assert endpoint in OPEN or answer.location == f"https://drumside.local:8443{path}", path
        answer.close()
    assert given <= OPEN
    assert {"trust.page", "trust.authority", "trust.profile"} <= given
    assert all(LEAST[endpoint] is None for endpoint in OPEN), "what the door gives to all is for all"


@pytest.mark.parametrize("path", ["/", "/settings", "/api/batches", "/healthz"])
def test_door_is_the_app_for_this_computer(bench: Bench, door: Client, path: str):
    """Under a loopback name and address, people and programs still get the app."""
    here = {"REMOTE_ADDR": "127.0.0.1", "HTTP_HOST": "localhost:8080"}
    assert door.get(path, environ_overrides=here).status_code == 200
    assert door.get(path, environ_overrides={**here, "HTTP_HOST": "127.0.0.1:8080"}).status_code == 200
    for claimed in ({"REMOTE_ADDR": PHONE["REMOTE_ADDR"]}, {"HTTP_HOST": PHONE["HTTP_HOST"]}):
        assert door.get(path, environ_overrides={**here, **claimed}).status_code in {307, 403}


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8080", "203.0.113.7", "", "[", "local.evil.example"])
@pytest.mark.parametrize("path", ["/", "/trust", "/trust/drumside.crt", "/batches", "/nothing"])
def test_door_refuses_names_that_are_not_ours(door: Client, host: str, path: str):
    """A foreign page whose host name points here gets nothing and no redirect."""
    answer = from_phone(door, path, HTTP_HOST=host)
    assert answer.status_code in {400, 421}
    assert "Location" not in answer.headers


def test_door_leads_on_by_a_name_that_the_certificate_has(door: Client):
    """By the requested name if it is listed, else by the first; path and query are preserved."""
    assert from_phone(door, "/r/abc?x=1&y=%C3%A9").location == "https://drumside.local:8443/r/abc?x=1&y=%C3%A9"
    assert from_phone(door, "/find", HTTP_HOST="127.0.0.1:8080").location == "https://127.0.0.1:8443/find"
    assert from_phone(door, "/find", HTTP_HOST="other.lan").location == "https://drumside.local:8443/find"
    assert from_phone(door, "/caf%C3%A9%0d%0aSet-Cookie:%20a").location == (
        "https://drumside.local:8443/caf%C3%A9%0D%0ASet-Cookie:%20a"
    )
    assert urlsplit(from_phone(door, "//evil.example/x").location).hostname == "drumside.local"


def test_nothing_leads_on_for_good(door: Client):
    """A browser must not cache it: without `--lan` the plain page is the app again."""
    answer = from_phone(door, "/batches")
    assert (answer.status_code, answer.headers["Cache-Control"]) == (307, "no-store")


def test_page_has_the_number_and_the_steps(door: Client, secure: SecureServer):
    """The terminal's fingerprint, the limits, the removal, and the steps for the requesting phone."""
    text = from_phone(door, "/trust", **IPHONE).text
    words = " ".join(text.split())
    assert secure.authority is not None
    for group in secure.authority.fingerprint.split():
        assert f"<span>{group}</span>" in text
    for said in (
        "private networks",
        "for nothing else",
        "To remove it",
        "Certificate Trust Settings",
        "Install anyway",
    ):
        assert said in words
    assert '<details class="more" open> <summary>iPhone, iPad</summary>' in words
    assert words.count(" open> <summary>") == 1
    assert "open> <summary>Android" in " ".join(from_phone(door, "/trust", **ANDROID).text.split())
    assert (
        "connect-src 'self' https://drumside.local:8443"
        in from_phone(door, "/trust").headers["Content-Security-Policy"]
    )


def test_files_are_the_authority(door: Client, secure: SecureServer):
    """The file for Android is the certificate, and the profile for iPhones contains it; neither contains a key."""
    assert secure.authority is not None
    file = from_phone(door, "/trust/drumside.crt")
    assert file.mimetype == "application/x-x509-ca-cert"
    x509.load_der_x509_certificate(file.data)
    assert file.data == secure.authority.der
    profile = from_phone(door, "/trust/drumside.mobileconfig")
    assert profile.mimetype == "application/x-apple-aspen-config"
    whole = plistlib.loads(profile.data)
    (content,) = whole["PayloadContent"]
    assert (whole["PayloadType"], content["PayloadType"]) == ("Configuration", "com.apple.security.root")
    assert content["PayloadContent"] == secure.authority.der
    assert profile.data == from_phone(door, "/trust/drumside.mobileconfig").data, (
        "installed again it takes its own place"
    )


def test_door_and_profile_use_the_language_of_the_request(door: Client):
    """German if the browser asks for it, else English; both contain the secure address."""
    german = {"HTTP_ACCEPT_LANGUAGE": "de-AT, en;q=0.5"}
    for more, refused, unknown, described in (
        ({}, "Send it to", "Unknown server name", "Lets this device"),
        (german, "nur verschlüsselt", "Unbekannter Servername", "Damit öffnet dieses Gerät"),
    ):
        told = from_phone(door, "/api/entries", "POST", **more).text
        assert refused in told
        assert "https://drumside.local:8443" in told
        assert unknown in from_phone(door, "/", **more | {"HTTP_HOST": "roast.example"}).text
        profile = from_phone(door, "/trust/drumside.mobileconfig", **more).data
        assert plistlib.loads(profile)["PayloadDescription"].startswith(described)


def test_without_an_authority_there_is_nothing_to_trust(bench: Bench):
    """Without `--lan` there are no such pages."""
    for path in ("/trust", "/trust/drumside.crt", "/trust/drumside.mobileconfig"):
        assert bench.client.get(path).status_code == 404


def test_own_certificate_has_nothing_to_trust_either(bench: Bench, secure: SecureServer):
    """The door redirects at once, and the certificate's names are names of this server."""
    place = replace(secure.place, names=("roast.example", "*.beans.example"))
    own = replace(secure, authority=None, place=place, hosts=("roast.example",))
    bench.app.extensions["secure"] = own
    door = Client(Door(bench.app, own))
    assert from_phone(door, "/", HTTP_HOST="roast.example").location == "https://roast.example:8443/"
    assert from_phone(door, "/trust", HTTP_HOST="roast.example").status_code == 404
    for host, status in (("roast.example", 200), ("live.beans.example", 200), ("a.b.beans.example", 421)):
        assert bench.client.get("/healthz", headers={"Host": host}).status_code == status


def test_tls_answers_under_its_own_names_alone(bench: Bench, secure: SecureServer):
    """A name of the local network that the certificate does not have may be another site's."""
    bench.app.extensions["secure"] = secure
    for host, status in (("drumside.local", 200), ("192.0.2.7", 200), ("evil.local", 421), ("x.home.arpa", 421)):
        assert bench.client.get(f"https://{host}:8443/healthz").status_code == status
    assert bench.client.get("/healthz", headers={"Host": "evil.local"}).status_code == 200


def test_browser_is_bound_to_tls_only_by_a_certificate_of_ones_own(bench: Bench, secure: SecureServer):
    """HSTS (RFC 6797) with our own authority would lock out a phone that has to trust a new one."""
    where = "https://drumside.local:8443/healthz"
    assert "Strict-Transport-Security" not in bench.client.get(where).headers
    bench.app.extensions["secure"] = replace(secure, authority=None)
    assert bench.client.get(where).headers["Strict-Transport-Security"] == "max-age=31536000"
    assert "Strict-Transport-Security" not in bench.client.get("/healthz").headers


def test_answer_that_tells_whether_it_is_trusted(bench: Bench, secure: SecureServer):
    """The plain page may request it from another origin; it is empty."""
    answer = browser(bench).get("https://drumside.local:8443/this-device/reached")
    assert (answer.status_code, answer.data) == (204, b"")
    assert answer.headers["Cross-Origin-Resource-Policy"] == "cross-origin"


def test_device_page_names_the_remedy(bench: Bench, secure: SecureServer):
    """With TLS it links there; without it it names the option; without scripts it has a message."""
    text = bench.client.get("/this-device").text
    assert 'href="/trust"' in text
    assert 'href="https://drumside.local:8443/this-device"' in text
    assert "<noscript>" in text
    bench.app.extensions.pop("secure")
    assert "<code>--lan</code>" in bench.client.get("/this-device").text
    assert 'href="/this-device"' in bench.client.get("/more").text


def test_invitation_leads_through_trust(bench: Bench, secure: SecureServer):
    """The QR of an invitation starts at the trust page; its secret follows the #, and is never sent."""
    bench.services.address.note_base(secure.trust_base("drumside.local"))
    assert bench.services.address.way_in() == "http://drumside.local:8080/trust"
    assert bench.services.address.way_in("s3cret") == "http://drumside.local:8080/trust#s3cret"
    text = bench.client.post("/devices/invite", data={"role": "look"}).text
    assert "<strong>http://drumside.local:8080/trust</strong>" in text
