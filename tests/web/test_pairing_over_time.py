"""Pairing codes and links at the end of their time, after their use, and presented by several phones at once."""

import pytest

from roastlog.services.pairing import LASTS_MS, MOST_OPEN, TRIES_AN_ADDRESS
from tests.conftest import Bench
from tests.soak.races import Action, at_once
from tests.web.walk import browser


@pytest.fixture
def wall(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The computer's time, set by hand. [ms UTC]"""
    now = [bench.services.pairing.wall_ms()]
    monkeypatch.setattr(bench.services.pairing, "wall_ms", lambda: now[0])
    return now


@pytest.mark.parametrize("way", ["code", "secret"])
def test_a_code_or_link_ends_to_the_millisecond(bench: Bench, wall: list[int], way: str):
    """It pairs in the last millisecond of its ten minutes, and from the next on it is as good as a guess."""
    last, late = (bench.services.pairing.invite("own") for _ in range(2))
    wall[0] += LASTS_MS - 1
    assert browser(bench).post("/pair", data={way: getattr(last, way), "name": "x"}).status_code == 303
    wall[0] += 1
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
