"""Pairing: by code or link, once, within ten minutes, with few attempts; removal, cookies, bag codes."""

import pytest

from roastlog.services.pairing import LASTS_MS, TRIES_AN_ADDRESS, TRIES_OVER_ALL
from roastlog.web.http import security
from roastlog.web.http.roles import LOOK, OPERATE, OWN
from roastlog.web.http.security import SECURE_COOKIE
from tests.conftest import Bench
from tests.web.walk import browser


def test_a_code_pairs_one_device_once(bench: Bench):
    """A second use is answered like a wrong guess; neither secret is stored in plain text."""
    made = bench.services.pairing.invite("operate", name="Bench tablet")
    first, second = browser(bench), browser(bench)
    answer = first.post("/pair", data={"code": f"{made.code[:3]} {made.code[3:]}"})
    assert answer.status_code == 303
    assert "HttpOnly" in answer.headers["Set-Cookie"]
    assert "SameSite=Strict" in answer.headers["Set-Cookie"]
    assert first.get("/batches").status_code == 200
    used, guessed = (second.post("/pair", data={"code": code, "name": "x"}) for code in (made.code, "1"))
    assert (used.status_code, guessed.status_code) == (422, 422)
    assert "Set-Cookie" not in used.headers
    assert [device.name for device in bench.services.devices.all()] == ["Bench tablet"]


def test_a_link_expires_after_ten_minutes_and_opening_it_uses_nothing_up(bench: Bench):
    """Opening its page changes nothing; after ten minutes it pairs nobody."""
    made, late = bench.services.pairing.invite("look"), bench.services.pairing.invite("own")
    client = browser(bench)
    assert client.get(f"/pair/{made.secret}").status_code == 200
    assert client.post("/pair", data={"secret": made.secret}).status_code == 303
    now_ms = bench.services.pairing.now_ms()
    bench.services.pairing.now_ms = lambda: now_ms + LASTS_MS
    assert browser(bench).post("/pair", data={"secret": late.secret}).status_code == 422


def test_wrong_codes_block_an_address(bench: Bench):
    """After some wrong codes an address is blocked, even with the right code; a link still works."""
    made, client = bench.services.pairing.invite("operate"), browser(bench)
    for _ in range(TRIES_AN_ADDRESS):
        assert client.post("/pair", data={"code": "no"}).status_code == 422
    answer = client.post("/pair", data={"code": made.code})
    assert answer.status_code == 429
    assert int(answer.headers["Retry-After"]) > 0
    assert client.post("/pair", data={"secret": made.secret}).status_code == 303


def test_guessers_do_not_keep_an_honest_phone_out(bench: Bench):
    """However many guess from however many addresses, the code on the owner's screen works on a phone that did not."""
    made, client = bench.services.pairing.invite("operate"), browser(bench)

    def tried(code: str, address: str) -> int:
        return client.post("/pair", data={"code": code}, environ_overrides={"REMOTE_ADDR": address}).status_code

    guessed = [tried("no", f"192.0.2.{number % 60}") for number in range(150)]
    assert guessed[:TRIES_OVER_ALL] == [422] * TRIES_OVER_ALL
    assert guessed.count(422) == 60  # beyond it one try for each address, of those that had none
    assert tried(made.code, "192.0.2.7") == 429
    assert tried(made.code, "192.0.2.200") == 303


def test_addresses_of_one_network_count_as_one(bench: Bench):
    """A computer has as many IPv6 addresses as it likes, of one /64 (RFC 4291)."""
    client = browser(bench)
    statuses = [
        client.post(
            "/pair", data={"code": "no"}, environ_overrides={"REMOTE_ADDR": f"2001:db8::{number:x}"}
        ).status_code
        for number in range(1, TRIES_AN_ADDRESS + 2)
    ]
    assert statuses == [422] * TRIES_AN_ADDRESS + [429]


def test_a_device_is_removed_at_once(bench: Bench):
    """The owner removes it, while another one stays."""
    client, other = browser(bench, OPERATE), browser(bench, LOOK)
    ident = next(device.id for device in bench.services.devices.all() if device.role is OPERATE)
    assert browser(bench, OWN).post(f"/devices/{ident}/cut-off").status_code == 303
    assert (client.get("/").status_code, other.get("/").status_code) == (401, 200)


def test_a_stream_that_is_open_ends_when_its_device_is_cut_off(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """It receives the events until then, and none afterwards."""
    monkeypatch.setattr(security, "LOOK_AGAIN_S", 0.0)  # two seconds; here at each event
    events = iter(browser(bench, LOOK).get("/machines/drum-4/live").response)
    assert b"hello" in next(events)
    bench.push((1, "bean_probe", 111.0))
    assert b"111.0" in next(events)
    bench.services.devices.cut_off(bench.services.devices.all()[0].id)
    bench.push((2, "bean_probe", 222.0))
    assert list(events) == []


def test_over_tls_the_cookie_is_bound_to_the_host(bench: Bench):
    """`__Host-`, Secure and HSTS on TLS (OWASP ASVS 5.0, 3.3 and 3.4, from memory); no HSTS on plain HTTP."""
    made, client = bench.services.pairing.invite("operate"), browser(bench)
    answer = client.post("/pair", data={"secret": made.secret}, base_url="https://localhost")
    assert answer.headers["Set-Cookie"].startswith(f"{SECURE_COOKIE}=")
    assert "Secure" in answer.headers["Set-Cookie"]
    assert answer.headers["Strict-Transport-Security"].startswith("max-age=31536000")
    assert "Strict-Transport-Security" not in client.get("/pair").headers


def test_a_bag_code_that_was_withdrawn_leads_to_a_plain_page(bench: Bench):
    """The printed code answers 410, the new one shows the bag."""
    code = bench.roast(30)
    token = bench.services.batches.summary(code).token
    asked = bench.client.get(f"/batches/{code}/withdraw").text
    assert "cannot be undone" in asked
    assert browser(bench).get(f"/r/{token}").status_code == 200, "asking changes nothing"
    assert bench.client.post(f"/batches/{code}/withdraw").status_code == 303
    assert browser(bench).get(f"/r/{token}").status_code == 410
    assert browser(bench).get(f"/r/{bench.services.batches.summary(code).token}").status_code == 200


def test_a_device_that_is_forgotten_clears_what_its_browser_stores(bench: Bench):
    """Its page offers it; the server ends its access and has cached answers deleted (W3C Clear Site Data)."""
    client = browser(bench, OPERATE)
    assert "Forget this device" in client.get("/this-device").text
    answer = client.post("/devices/leave")
    assert answer.headers["Clear-Site-Data"] == '"cache"'
    assert client.get("/").status_code == 401
    assert "Forget this device" not in bench.client.get("/this-device").text  # this computer was never paired
