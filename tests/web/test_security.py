"""Access by origin, address and host name; and the security headers for browsers."""

import gzip
from uuid import uuid4

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from roastlog.services import Role
from roastlog.web.http import assets
from roastlog.web.http.security import COOKIE, POLICY, SECURE_COOKIE, known_sender
from roastlog.web.machine import live
from tests.conftest import Bench
from tests.web.walk import addresses, browser

OTHER_SITE = [
    {"Sec-Fetch-Site": "cross-site"},
    {"Sec-Fetch-Site": "same-site"},
    {"Origin": "https://evil.example"},
    {"Origin": "null"},
    {"Origin": "http://["},
    {"Origin": "http://localhost:9999"},
    {"Sec-Fetch-Site": "cross-site", "Origin": "http://localhost"},
]


@pytest.fixture
def stranger(bench: Bench) -> FlaskClient:
    """A browser on another, unpaired device."""
    return browser(bench)


def in_words(answer: TestResponse) -> bool:
    """Whether an answer is a message, on a page or in JSON, without a traceback."""
    text = answer.get_json()["error"] if answer.is_json else answer.text
    return "." in text and "Traceback" not in text and len(text) > 30


def test_an_unpaired_device_cannot_store_data(bench: Bench, stranger: FlaskClient):
    """An unpaired device's entries, readings and forms are refused."""
    code = bench.open()
    entry = bench.entry("note", batch=code, text="hello")
    assert stranger.post("/api/entries", json={"entries": [entry]}).status_code == 401
    assert stranger.post("/api/machines/drum-4/readings", json={"readings": []}).status_code == 401
    assert stranger.post("/machines/drum-4/start", data={"coffee": "Mine"}).status_code == 401
    assert stranger.post("/settings", data={"business": "Mine"}).status_code == 401
    assert len(bench.services.batches.record(code).log) == 1
    assert bench.services.batches.page().total == 1
    assert bench.services.settings.current().business == ""


def test_a_program_comes_in_with_its_token(bench: Bench, stranger: FlaskClient):
    """A token printed by `token --name` works; an invented one, or one in the wrong place, is refused."""
    token = bench.services.devices.new_token("logger")

    def status(authorization: str) -> int:
        return stranger.get("/api/batches", headers={"Authorization": authorization}).status_code

    assert [status(f"Bearer {token}"), status(f"bearer {token}")] == [200, 200]
    wrong = [
        "",
        "Bearer",
        "Bearer ",
        f"Basic {token}",
        f"Bearer {token}x",
        token,
        "Bearer é",
        f"Bearer {token} {token}",
    ]
    assert {status(text) for text in wrong} == {401}


def test_the_token_itself_is_not_stored(bench: Bench):
    """Only a hash is stored, so a copy of the folder gives no access to the API."""
    token = bench.services.devices.new_token("logger")
    bench.services.close()
    for path in bench.services.store.path.parent.iterdir():
        if path.is_file():
            assert token.encode() not in path.read_bytes()


@pytest.mark.parametrize("headers", OTHER_SITE)
def test_a_form_of_another_site_changes_nothing(bench: Bench, headers: dict[str, str]):
    """A form from another site is refused even on this computer, since the browser sends the origin."""
    code = bench.open()
    entry = bench.entry("note", batch=code, text="hello")
    answer = bench.client.post("/api/entries", json={"entries": [entry]}, headers=headers)
    assert answer.status_code == 403
    assert in_words(answer)
    for path in (
        "/machines/drum-4/start",
        f"/batches/{code}/note",
        "/settings",
        "/people",
        "/lots",
        "/machines/practice",
    ):
        answer = bench.client.post(path, data={"text": "x", "name": "x"}, headers=headers)
        assert answer.status_code == 403
        assert in_words(answer)
    assert len(bench.services.batches.record(code).log) == 1
    assert (bench.services.batches.page().total, len(bench.services.machines.all())) == (1, 1)


@pytest.mark.parametrize("headers", [{}, {"Sec-Fetch-Site": "same-origin"}, {"Origin": "http://localhost"}])
def test_our_own_pages_and_programs_may_send(bench: Bench, headers: dict[str, str]):
    """A browser on our page may, and a client that is no browser."""
    answer = bench.client.post("/api/entries", json={"entries": []}, headers=headers)
    assert answer.status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "drumside.evil.example:8080", "127.0.0.1.evil.example", "a b", "[", "[::1", "", "x..y"]
)
def test_a_name_that_is_not_ours_is_not_answered(bench: Bench, host: str):
    """A foreign page whose host name points here gets nothing; the answer names the right address."""
    answer = bench.client.get("/api/batches", headers={"Host": host})
    assert answer.status_code == 421
    assert "printed at its start" in bench.client.get("/", headers={"Host": host}).text


TOKEN = {"name": "A program", "role": "own"}
OWN_HOSTS = ["localhost", "localhost:8080", "roast.localhost", "127.0.0.1:8080", "[::1]:8080"]
LOCAL_HOSTS = ["192.168.1.20", "drumside.local", "roastery", "evil.local", "x.home.arpa", "x.lan"]


@pytest.mark.parametrize("host", [*OWN_HOSTS, *LOCAL_HOSTS])
def test_the_names_of_a_local_network_are_ours(bench: Bench, host: str):
    """Addresses, single words and local-network names are accepted."""
    assert bench.client.get("/healthz", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("host", OWN_HOSTS)
def test_this_computer_is_the_owner_under_its_own_names(bench: Bench, host: str):
    """Loopback names and addresses alone: nobody else can have them."""
    assert bench.client.post("/tokens", data=TOKEN, headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("host", LOCAL_HOSTS)
def test_a_name_that_another_site_can_have_makes_no_owner(bench: Bench, host: str):
    """A page under a name that was pointed at this computer is a stranger: it reads nothing and makes no token."""
    for answer in (
        bench.client.get("/api/batches", headers={"Host": host}),
        bench.client.post("/tokens", data=TOKEN, headers={"Host": host}),
    ):
        assert answer.status_code == 401


def test_the_name_on_the_labels_is_ours(bench: Bench):
    """The name is accepted as soon as it is set, and only exactly that name."""
    bench.services.settings.change({"url_base": "https://coffee.quillwater.example/bags"})
    assert bench.client.get("/healthz", headers={"Host": "coffee.quillwater.example"}).status_code == 200
    assert bench.client.get("/healthz", headers={"Host": "quillwater.example"}).status_code == 421


@pytest.mark.parametrize("base", ["http://[bad", "https://", "http://x:99999", "javascript:alert(1)", "//x", "ftp://x"])
def test_an_address_that_is_none_cannot_be_set(bench: Bench, base: str):
    """An invalid address is refused, since it would be printed on every label."""
    answer = bench.client.post("/settings", data={"url_base": base, "units_temp": "C", "units_mass": "kg"})
    assert answer.status_code == 422
    assert bench.services.settings.current().url_base == ""


def test_every_answer_says_what_a_browser_may_do(bench: Bench):
    """Scripts only from us, nothing inline, no frame, no sniffing: on pages, errors, files and the API."""
    code = bench.roast(30)
    for method, path, _ in addresses(bench, code):
        answer = bench.client.open(path, method=method)
        policy = answer.headers["Content-Security-Policy"]
        scripts = next(part for part in policy.split("; ") if part.startswith("script-src"))
        assert scripts == "script-src 'self'", path
        assert "frame-ancestors 'none'" in policy
        assert "object-src 'none'" in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        answer.close()
    assert not [source for source in POLICY["script-src"] + POLICY["default-src"] if "unsafe" in source]
    assert bench.client.get("/nowhere").headers["Content-Security-Policy"]


def test_only_unchanging_answers_are_cached(bench: Bench):
    """Pages are revalidated, the API is not stored, versioned files are cached for ever."""
    bench.open()
    assert bench.client.get("/").headers["Cache-Control"] == "no-cache"
    assert bench.client.get("/api/batches").headers["Cache-Control"] == "no-store"
    with bench.app.test_request_context():
        css, script = assets.asset("app.css"), assets.vendor("bokeh")
    for path in (css, script):
        assert "immutable" in bench.client.get(path).headers["Cache-Control"]
    assert bench.client.get("/static/old/app.css").headers["Cache-Control"] == "no-cache"


@pytest.mark.parametrize(
    "path",
    [
        "/static/v/../../app.py",
        "/static/v/..%2f..%2fapp.py",
        "/static/v/%2e%2e/%2e%2e/app.py",
        "/static/v//etc/passwd",
        "/static/v/%2fetc%2fpasswd",
        "/static/v/..%5c..%5capp.py",
        "/static/v/%00",
        "/static/v/app.css%00.js",
        "/static/v/" + "a" * 300,
        "/static/v/.",
        "/static/v/js",
        "/vendor/bokeh-1.min.js",
        "/vendor/..%2f-1.min.js",
        "/vendor/flask-3.min.js",
    ],
)
def test_no_path_leads_out_of_the_static_folder(bench: Bench, path: str):
    """Any form of such a path gives 404 or a redirect, never a file."""
    answer = bench.client.get(path)
    assert answer.status_code in {404, 308}
    assert b"roastlog" not in answer.data


def test_files_are_the_same_with_and_without_gzip(bench: Bench):
    """Files are compressed only for clients that accept it, with a Vary header for caches."""
    with bench.app.test_request_context():
        paths = [
            assets.asset("app.css"),
            assets.asset("js/machine/live.js"),
            assets.vendor("bokeh"),
            assets.vendor("htmx"),
        ]
    for path in paths:
        plain = bench.client.get(path)
        packed = bench.client.get(path, headers={"Accept-Encoding": "gzip"})
        assert packed.headers["Content-Encoding"] == "gzip"
        assert "Content-Encoding" not in plain.headers
        assert gzip.decompress(packed.data) == plain.data
        assert len(packed.data) < len(plain.data)
        assert packed.headers["Vary"] == plain.headers["Vary"] == "Accept-Encoding"
        assert plain.mimetype in {"text/css", "text/javascript"}


def test_head_is_answered_like_get_without_a_body(bench: Bench):
    """HEAD works on every address with GET."""
    code = bench.roast(30)
    for method, path, _ in addresses(bench, code):
        if method == "GET":
            head, full = bench.client.head(path), bench.client.get(path)
            assert head.status_code == full.status_code, path
            assert head.data == b""
            assert head.mimetype == full.mimetype
            head.close()
            full.close()


def test_an_unread_stream_frees_its_place(bench: Bench):
    """After HEAD, an immediate close, or some reading, the next stream can open."""
    for _ in range(live.MOST_STREAMS + 2):
        bench.client.head("/machines/drum-4/live").close()
        answer = bench.client.get("/machines/drum-4/live")
        assert answer.status_code == 200
        answer.close()
    assert bench.services.live.hub("drum-4").watchers == 0


def test_too_many_streams_are_told_to_wait(bench: Bench):
    """Pages must still work, so an excess stream gets 503, a message, and Retry-After."""
    held = [bench.client.get("/machines/drum-4/live") for _ in range(live.MOST_STREAMS)]
    more = bench.client.get("/machines/drum-4/live")
    assert (more.status_code, more.headers["Retry-After"]) == (503, "5")
    assert "Close one" in more.text
    assert bench.client.get("/").status_code == 200
    for answer in held:
        answer.close()
    again = bench.client.get("/machines/drum-4/live")
    assert again.status_code == 200
    again.close()


def test_device_has_few_streams(bench: Bench):
    """A device's excess stream is refused with a message, another device and this computer still watch."""
    screen = browser(bench, Role.LOOK)
    held = [screen.get("/machines/drum-4/live") for _ in range(live.MOST_OF_A_DEVICE)]
    more = screen.get("/machines/drum-4/live")
    assert (more.status_code, more.headers["Retry-After"]) == (503, "5")
    assert "This device has 6 live pages open" in more.text
    for other in (browser(bench, Role.LOOK, name="another"), bench.client):
        answer = other.get("/machines/drum-4/live")
        assert answer.status_code == 200
        answer.close()
    held.pop().close()
    held.append(screen.get("/machines/drum-4/live"))
    assert {answer.status_code for answer in held} == {200}
    for answer in held:
        answer.close()


def test_sender_is_known_before_the_app_has_the_request(bench: Bench):
    """Devices by either cookie, programs by their token, and this computer; no stranger and no client of a proxy."""
    devices = bench.services.devices
    cookie = browser(bench, Role.LOOK).get_cookie(COOKIE)
    assert cookie is not None
    away, here, token = {"REMOTE_ADDR": "192.0.2.7"}, {"REMOTE_ADDR": "127.0.0.1"}, devices.new_token("logger")

    def known(environ: dict[str, str], **more: str) -> str | None:
        return known_sender(environ | more, devices)

    device = devices.all()[0].key
    assert known(away, HTTP_COOKIE=f"a=b; {COOKIE}={cookie.value}") == device
    assert known(away, HTTP_COOKIE=f"{SECURE_COOKIE}={cookie.value}") == device
    assert known(away, HTTP_AUTHORIZATION=f"Bearer {token}") == "program logger"
    for loopback in (here, {"REMOTE_ADDR": "::1"}, here | {"HTTP_AUTHORIZATION": f"Bearer {token}x"}):
        assert known(loopback) == "this computer"
    for stranger in (away, {}, away | {"HTTP_COOKIE": f"{COOKIE}=x"}, here | {"HTTP_X_FORWARDED_FOR": "192.0.2.7"}):
        assert known(stranger) is None


def test_a_bag_page_is_found_by_its_token_alone(bench: Bench, stranger: FlaskClient):
    """Neither the code nor another token reveals it, and a discarded batch has none."""
    code = bench.roast(30, coffee="Night Ferry")
    token = bench.services.batches.summary(code).token
    assert len(token) >= 20
    assert "Night Ferry" in stranger.get(f"/r/{token}").text
    for guess in (code, token[:-1], token.lower() if token.lower() != token else token.upper(), str(uuid4()), "%00"):
        assert stranger.get(f"/r/{guess}").status_code == 404
    opening = bench.services.batches.record(code).batch.opened
    assert opening is not None
    bench.say(bench.entry("undo", 40, batch=code, entry=str(opening.id)))
    assert stranger.get(f"/r/{token}").status_code == 404
