"""The requirements of chapter V3 of the OWASP ASVS 5.0 for web pages, one by one.

Numbers and wording are from memory; V3.4.7 (reports of the policy) and V3.5.4 (a host name for each application) are of
level 3 or for others, and are left out.
"""

import re

import pytest
from werkzeug.test import TestResponse

from roastlog.web.http.roles import OWN
from roastlog.web.http.security import COOKIE, SECURE_COOKIE
from tests.checkout import ROOT
from tests.conftest import Bench
from tests.web.walk import addresses, browser

SCRIPTS = sorted((ROOT / "static/js").rglob("*.js"))
TLS = "https://localhost"
YEAR_S = 31_536_000


@pytest.fixture
def answers(bench: Bench) -> list[tuple[str, TestResponse]]:
    """An answer of every kind: pages, errors, files, data, a stream; over TLS, to an owner's device."""
    code = bench.roast(30)
    client = browser(bench, OWN)
    cookie = client.get_cookie(COOKIE)
    assert cookie is not None
    client.set_cookie(SECURE_COOKIE, cookie.value, secure=True)
    paths = [path for method, path, _ in addresses(bench, code) if method == "GET"]
    found = [(path, client.get(path, base_url=TLS)) for path in [*paths, "/nowhere"]]
    assert len(found) > 40
    return found


def paired(bench: Bench) -> str:
    """Cookie of a device paired over TLS."""
    made = bench.services.pairing.invite("operate")
    answer = browser(bench).post("/pair", data={"secret": made.secret}, base_url=TLS)
    return str(answer.headers["Set-Cookie"])


def test_every_answer_carries_its_headers(answers: list[tuple[str, TestResponse]]):
    """V3.2.1 and 3.4.1 to 3.4.6, 3.4.8, 3.5.8: type, HSTS of a year, policy, referrer, frames, opener, resource."""
    for path, answer in answers:
        headers = answer.headers
        assert headers["X-Content-Type-Options"] == "nosniff", path  # 3.2.1, 3.4.4
        if answer.status_code != 303:
            assert headers["Content-Type"], path
        assert int(re.match(r"max-age=(\d+)", headers["Strict-Transport-Security"])[1]) >= YEAR_S, path  # 3.4.1
        assert "Access-Control-Allow-Origin" not in headers, path  # 3.4.2: no other origin may read it
        policy = {
            name: rest
            for name, _, rest in (part.partition(" ") for part in headers["Content-Security-Policy"].split("; "))
        }
        assert (policy["object-src"], policy["base-uri"]) == ("'none'", "'none'"), path  # 3.4.3
        assert policy["script-src"] == "'self'", path
        assert headers["Referrer-Policy"] in {"same-origin", "no-referrer"}, path  # 3.4.5
        assert policy["frame-ancestors"] == "'none'", path  # 3.4.6
        assert headers["Cross-Origin-Opener-Policy"] == "same-origin", path  # 3.4.8
        # The plain door's page checks whether the secure one is trusted; the answer is empty.
        mayread = "cross-origin" if path == "/this-device/reached" else "same-origin"
        assert headers["Cross-Origin-Resource-Policy"] == mayread, path  # 3.5.8
        answer.close()


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.stem)
def test_user_text_is_shown_as_text(script):
    """V3.2.2: no script of ours turns a text into markup or code."""
    text = script.read_text(encoding="utf-8")
    assert not re.search(r"\b(innerHTML|outerHTML|insertAdjacentHTML|document\.write|eval|new Function)\b", text)


def test_the_cookie_is_bound_to_this_host_and_to_http(bench: Bench):
    """V3.3.1 to 3.3.4: Secure, SameSite, the prefix `__Host-` (no Domain, path /), HttpOnly."""
    cookie = paired(bench)
    assert cookie.startswith("__Host-")
    assert {"Secure", "HttpOnly", "SameSite=Strict", "Path=/"} <= set(cookie.split("; "))
    assert "Domain" not in cookie


def test_a_change_is_neither_a_get_nor_another_sites(bench: Bench):
    """V3.5.1 to 3.5.3: a GET of every address changes nothing; a change from another site is refused."""
    code = bench.roast(30)

    def state() -> tuple[object, ...]:
        services = bench.services
        return len(services.batches.record(code).log), services.settings.current(), len(services.machines.all())

    client, before = browser(bench, OWN), state()
    for method, path, _ in addresses(bench, code):
        if method == "GET":
            client.get(path).close()
        else:
            answer = client.open(path, method=method, headers={"Sec-Fetch-Site": "cross-site"})
            assert answer.status_code == 403, path
    assert state() == before


def test_data_is_no_script(answers: list[tuple[str, TestResponse]]):
    """V3.5.6 and 3.5.7: there is no JSONP, and no protected data is a script."""
    for path, answer in answers:
        if answer.mimetype == "text/javascript":
            assert path.startswith(("/static/", "/vendor/", "/sw.js")), path
        answer.close()


def test_nothing_comes_from_elsewhere(answers: list[tuple[str, TestResponse]]):
    """V3.6.1: every script, style and picture is our own, so none needs a hash."""
    for path, answer in answers:
        if answer.mimetype == "text/html":
            loaded = re.findall(r'<(?:script|img|link|iframe|source)\b[^>]*?\b(?:src|href)="([^"]+)"', answer.text)
            assert not [url for url in loaded if not url.startswith(("/", "data:"))], path
        answer.close()


def test_no_redirect_leads_elsewhere(bench: Bench):
    """V3.7.2: every redirect stays on this site, whatever the request."""
    code = bench.roast(30)
    client = browser(bench, OWN)
    away = "https://evil.example/"
    for method, path, _ in addresses(bench, code):
        fields = dict.fromkeys(("next", "back", "url", "return", "return_to", "then", "q", "code"), away)
        answer = client.open(path, method=method, query_string=fields, data=fields if method == "POST" else None)
        place = answer.headers.get("Location", "/")
        assert place.startswith("/"), (path, place)
        assert not place.startswith("//"), (path, place)
        answer.close()
