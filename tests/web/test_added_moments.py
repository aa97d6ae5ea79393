"""A moment that nobody marked is added on the record, and any moment is moved to a typed time."""

import pytest

from tests.conftest import START_MS, Bench


def batch(bench: Bench) -> str:
    """A batch that was dropped without first crack; its code."""
    code = bench.open(coffee="Alder washed", green_g=4000)
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    bench.say(bench.entry("moment", 600, batch=code, moment="drop"))
    bench.clock.turn_to(700)
    return code


def moments_s(bench: Bench, code: str) -> dict[str, float]:
    """Times of its moments from charge. [s]"""
    return dict(bench.services.batches.record(code).batch.moments_s)


@pytest.mark.parametrize(("typed", "time_s"), [("8:42", 522.0), ("8:42.5", 522.5), ("08:42", 522.0)])
def test_a_missed_first_crack_is_added_from_charge(bench: Bench, typed: str, time_s: float):
    """The record asks for it while it is missing, and has the development afterwards."""
    code = batch(bench)
    page = bench.client.get(f"/batches/{code}").text
    assert "First crack is not marked." in page
    assert bench.client.post(f"/batches/{code}/add", data={"what": "first_crack", "time": typed}).status_code == 303
    assert moments_s(bench, code)["first_crack"] == time_s
    assert "First crack is not marked." not in bench.client.get(f"/batches/{code}").text
    assert bench.services.batches.summary(code).development_s == 600 - time_s


def test_a_charge_that_nobody_marked_is_added_by_the_clock(bench: Bench):
    """Without a charge a time from charge means nothing; the form says so and keeps nothing."""
    code = bench.open()
    assert bench.client.post(f"/batches/{code}/add", data={"what": "charge", "time": "0:10"}).status_code == 422
    from datetime import datetime

    by_clock = datetime.fromtimestamp(START_MS / 1000 + 5).astimezone()
    data = {"what": "charge", "time": f"{by_clock:%H:%M:%S}"}
    assert bench.client.post(f"/batches/{code}/add", data=data).status_code == 303
    charge = bench.services.batches.record(code).batch.moments["charge"]
    assert abs(charge.at_ms - (START_MS + 5000)) < 1000


def test_a_moment_is_moved_to_a_typed_time_again_and_again(bench: Bench):
    """However far, and a second move starts from where it is."""
    code = batch(bench)
    drop = bench.services.batches.record(code).batch.moments["drop"]
    for typed, time_s in (("9:30", 570.0), ("10:05", 605.0)):
        data = {"entry": str(drop.id), "time": typed}
        assert bench.client.post(f"/batches/{code}/move", data=data).status_code == 303
        assert moments_s(bench, code)["drop"] == time_s


@pytest.mark.parametrize("typed", ["", "soon", "8:75", "99999:00:00", "25:00:00", "8.42"])
def test_a_time_that_is_none_is_refused_with_how_to_type_it(bench: Bench, typed: str):
    """Nothing is kept."""
    code = batch(bench)
    before = bench.services.batches.record(code).batch.lines
    answer = bench.client.post(f"/batches/{code}/add", data={"what": "first_crack", "time": typed})
    assert answer.status_code == 422
    assert "Type 8:42 from charge" in answer.text
    assert bench.services.batches.record(code).batch.lines == before


def test_a_note_is_added_at_its_time(bench: Bench):
    """Before charge with a minus."""
    code = batch(bench)
    bench.client.post(f"/batches/{code}/add", data={"what": "note", "time": "-1:00", "text": "Drum at 205."})
    (note,) = bench.services.batches.record(code).batch.of("note")
    assert (note.at_ms, note.body["text"]) == (START_MS - 60_000, "Drum at 205.")


def test_a_batch_is_not_offered_as_its_own_guide(bench: Bench):
    """Others are."""
    one, other = bench.roast(coffee="Alder washed"), bench.roast(coffee="Alder washed", start_s=2000)
    page = bench.client.get(f"/batches/{one}/names").text
    assert f'value="{other}"' in page
    assert f'value="{one}"' not in page


def test_a_coffee_that_is_not_there_is_not_called_a_bad_code(bench: Bench):
    """A search without a digit is for a name."""
    bench.open(coffee="Alder washed")
    assert "No batch has “Elder”" in bench.client.get("/find?code=Elder").text
    assert "batch code" in bench.client.get("/find?code=26-33").text
