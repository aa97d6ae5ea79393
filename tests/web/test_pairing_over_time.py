"""Pairing codes and links at the end of their time, after their use, and presented by several phones at once."""

import time
from pathlib import Path

import pytest

from roastlog.clock import Clock
from roastlog.errors import PairingRefused, TooManyTries
from roastlog.services import Services, open_services
from roastlog.services import pairing as module
from roastlog.services.devices import UNSEEN_MS
from roastlog.services.pairing import LASTS_MS, MOST_OPEN, TRIES_AN_ADDRESS
from tests.conftest import Bench
from tests.soak.races import Action, at_once
from tests.web.walk import browser


@pytest.fixture
def now(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The computer's monotonic time, set by hand. [ms]"""
    now = [bench.services.pairing.now_ms()]
    monkeypatch.setattr(bench.services.pairing, "now_ms", lambda: now[0])
    return now


@pytest.mark.parametrize("way", ["code", "secret"])
def test_a_code_or_link_ends_to_the_millisecond(bench: Bench, now: list[int], way: str):
    """It pairs in the last millisecond of its ten minutes, and from the next on it is as good as a guess."""
    last, late = (bench.services.pairing.invite("own") for _ in range(2))
    now[0] += LASTS_MS - 1
    assert browser(bench).post("/pair", data={way: getattr(last, way), "name": "x"}).status_code == 303
    now[0] += 1
    answer = browser(bench).post("/pair", data={way: getattr(late, way), "name": "y"})
    assert (answer.status_code, "Set-Cookie" in answer.headers) == (422, False)
    assert [device.name for device in bench.services.devices.all()] == ["x"]


@pytest.mark.parametrize("way", ["code", "secret"])
def test_of_phones_that_present_one_code_at_once_one_is_paired(bench: Bench, way: str):
    """All have been checked before the first is let in; the others get the refusal of a used code, and no cookie."""
    made = bench.services.pairing.invite("operate")
    phones = [browser(bench) for _ in range(4)]
    asked = {way: getattr(made, way), "name": "phone"}
    answers = at_once(
        bench, [Action(lambda phone=phone: phone.post("/pair", data=asked), lambda: True) for phone in phones]
    )
    told = sorted((answer.status_code, "Set-Cookie" in answer.headers) for answer in answers if answer is not None)
    assert told == [(303, True), *[(422, False)] * 3]
    assert len(bench.services.devices.all()) == 1


def test_a_used_code_counts_as_a_wrong_one(bench: Bench):
    """Whoever tries it again and again is held off, although it was right once."""
    made, client = bench.services.pairing.invite("operate"), browser(bench)
    assert browser(bench).post("/pair", data={"code": made.code, "name": "x"}).status_code == 303
    tried = [
        client.post("/pair", data={"code": made.code, "name": "y"}).status_code for _ in range(TRIES_AN_ADDRESS + 1)
    ]
    assert tried == [422] * TRIES_AN_ADDRESS + [429]


def test_an_invitation_beyond_the_most_open_ones_ends_the_oldest(bench: Bench):
    """However many are made, few codes can be guessed at a time."""
    made = [bench.services.pairing.invite("look") for _ in range(MOST_OPEN + 1)]
    statuses = [browser(bench).post("/pair", data={"secret": each.secret, "name": "x"}).status_code for each in made]
    assert statuses == [422] + [303] * MOST_OPEN


@pytest.mark.parametrize("by_ms", [-UNSEEN_MS, -3_600_000, 3_600_000, 2 * UNSEEN_MS])
def test_a_step_of_the_computers_clock_neither_ends_nor_lengthens_a_code(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, by_ms: int
):
    """A code counts ten true minutes, wrong tries block for ten, and paired devices stay; all while the server runs."""
    services, true_s = open_services(tmp_path, Clock()), [time.time()]
    first, late = (services.pairing.invite("operate") for _ in range(2))
    _, token = services.pairing.pair_by_code(services.pairing.invite("look").code, "before", address="a")
    for _ in range(TRIES_AN_ADDRESS):
        with pytest.raises(PairingRefused):
            services.pairing.pair_by_code("no", "x", address="guesser")
    monkeypatch.setattr(time, "time", lambda: true_s[0] + by_ms / 1000)
    services.pairing.pair_by_code(first.code, "after", address="b")
    assert {"before", "after"} == {device.name for device in services.devices.all()}
    assert services.devices.by_token(token) is not None
    with pytest.raises(TooManyTries):
        services.pairing.pair_by_code(late.code, "x", address="guesser")
    begun_ms = services.pairing.now_ms()
    monkeypatch.setattr(services.pairing, "now_ms", lambda: begun_ms + LASTS_MS)
    with pytest.raises(PairingRefused):
        services.pairing.pair_by_code(late.code, "x", address="guesser")
    services.close()


def test_a_code_outlasts_a_restart_of_the_server_and_not_one_of_the_computer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """The wall clock does not matter; where the monotonic clock begins anew, a code would last for days."""

    def started() -> Services:
        services = open_services(tmp_path, Clock())
        services.start()
        services.store.write(lambda _: None)  # after all that was to be written before it
        return services

    services, wall_s, ticks_s = started(), time.time(), module.ticks_s()
    kept = services.pairing.invite("operate")
    services.close()
    monkeypatch.setattr(time, "time", lambda: wall_s - 3600)
    services = started()
    assert services.pairing.invited(kept.secret)
    services.close()
    monkeypatch.setattr(module, "ticks_s", lambda: ticks_s - LASTS_MS)
    services = started()
    monkeypatch.setattr(module, "ticks_s", lambda: ticks_s)
    assert not services.pairing.invited(kept.secret)
    services.close()


def test_a_device_that_was_seen_by_a_clock_ahead_renews_its_cookie(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """Its cookie lasts a year from the last renewal, so it must not wait until the clock is there again."""
    devices = bench.services.devices
    _, token = bench.services.pairing.pair_by_code(bench.services.pairing.invite("look").code, "phone", address="a")
    true_ms = devices.wall_ms()
    monkeypatch.setattr(devices, "wall_ms", lambda: true_ms - UNSEEN_MS)
    device = devices.by_token(token)
    assert device is not None
    assert devices.saw(device)
    assert not devices.saw(device)
