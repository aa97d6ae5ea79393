"""One drum holds one batch: a second opening of it is joined to it, and can be split off or merged later."""

from typing import Any

import pytest

from roastlog.errors import StoreError
from roastlog.recording import entry_service
from roastlog.store import projections
from tests.conftest import SHEET, Bench


def pressed_charge(bench: Bench, at_s: float, device: str, **facts: object) -> list[dict[str, Any]]:
    """The entries of a phone on which Charge was pressed while it knew of no batch."""
    opened = {**bench.entry("opened", at_s - 0.1, **facts), "by": {"device": device}}
    charge = bench.entry("moment", at_s, batch=str(opened["id"]), moment="charge")
    return [opened, {**charge, "by": {"device": device}}]


def lines(bench: Bench, code: str) -> list[str]:
    """Kinds of the lines of a batch that count."""
    return [line.kind for line in bench.services.batches.record(code).batch.lines if not line.undone]


@pytest.mark.parametrize("apart_s", [0.5, 110, -110])
def test_two_phones_that_press_charge_together_begin_one_batch(bench: Bench, apart_s: float):
    """The second one is told, its later taps by either name are taken, and the earlier charge counts."""
    (opened, _) = bench.say(*pressed_charge(bench, 0, "phone"))
    second = pressed_charge(bench, apart_s, "tablet")
    joined, charge = bench.say(*second)
    assert joined["batch"] == charge["batch"] == opened["batch"]
    assert "started on another page" in joined["notice"]
    (yellow,) = bench.say(bench.entry("moment", 300, batch=second[0]["id"], moment="yellow"))
    assert yellow["batch"] == opened["batch"]
    assert bench.services.batches.page().total == 1
    record = bench.services.batches.record(opened["batch"])
    assert record.batch.moments["charge"].by.device == ("tablet" if apart_s < 0 else "phone")
    assert [result["status"] for result in bench.say(*second)] == ["known", "known"]


def test_a_page_that_was_cut_off_goes_on_with_the_batch_in_the_drum(bench: Bench):
    """It knows nothing of the batch after a kill and opens one for its tap; the tap goes to the batch of that time."""
    (opened, _) = bench.say(*pressed_charge(bench, 0, "phone"))
    bench.say(bench.entry("moment", 600, batch=opened["batch"], moment="drop"))
    again = {**bench.entry("opened", 309.9), "by": {"device": "phone"}}
    bench.say(again, bench.entry("trier", 310, batch=str(again["id"]), stage="yellow"))
    assert lines(bench, opened["batch"]) == ["opened", "moment", "joined", "trier", "moment"]
    assert bench.services.batches.page().total == 1


def test_a_charge_minutes_later_begins_the_next_batch(bench: Bench):
    """A drop that nobody marked does not hold the next charge."""
    bench.say(*pressed_charge(bench, 0, "phone"))
    bench.say(*pressed_charge(bench, 700, "phone"))
    assert bench.services.batches.page().total == 2


def test_a_charge_after_the_drop_begins_the_next_batch(bench: Bench):
    """However soon it comes."""
    (opened, _) = bench.say(*pressed_charge(bench, 0, "phone"))
    bench.say(bench.entry("moment", 60, batch=opened["batch"], moment="drop"))
    bench.say(*pressed_charge(bench, 70, "phone"))
    assert bench.services.batches.page().total == 2


@pytest.mark.parametrize(
    ("device", "facts", "batches"),
    [
        ("tablet", {"coffee": "Alder washed", "green_g": 4000}, 1),
        ("phone", {"coffee": "Alder washed", "green_g": 4000}, 2),  # one person plans two alike
        ("tablet", {"coffee": "Alder washed", "green_g": 2500}, 2),
        ("tablet", {"coffee": "Birch natural", "green_g": 4000}, 2),
        ("tablet", {}, 1),
    ],
)
def test_a_second_opening_is_the_same_batch_if_coffee_and_weight_do_not_contradict(
    bench: Bench, device: str, facts: dict[str, object], batches: int
):
    """While the first one waits for its charge."""
    first = {**bench.entry("opened", 0, coffee="Alder washed", green_g=4000), "by": {"device": "phone"}}
    bench.say(first, {**bench.entry("opened", 20, **facts), "by": {"device": device}})
    assert bench.services.batches.page().total == batches


def test_the_next_batch_is_named_while_one_roasts(bench: Bench):
    """The form's facts make it another batch, though it has the same coffee and weight."""
    facts = {"coffee": "Alder washed", "green_g": 4000}
    bench.say(*pressed_charge(bench, 0, "phone", **facts))
    bench.say({**bench.entry("opened", 60, **facts), "by": {"device": "tablet"}})
    assert bench.services.batches.page().total == 2


def test_a_batch_that_was_joined_is_split_off_with_all_that_its_device_entered(bench: Bench):
    """Both have their own entries afterwards, with authors and times; the page of the first offers it."""
    (opened, _) = bench.say(*pressed_charge(bench, 0, "phone"))
    code = opened["batch"]
    joined = pressed_charge(bench, 5, "tablet")
    yellow = bench.entry("moment", 290, batch=code, moment="yellow")
    bench.say(*joined, {**yellow, "by": {"device": "tablet"}})
    bench.say({**bench.entry("trier", 200, batch=code, stage="tan"), "by": {"device": "phone"}})
    assert "split this one off" in bench.client.get(f"/batches/{code}").text
    answer = bench.client.post(f"/batches/{code}/split", data={"entry": joined[0]["id"]})
    new = answer.location.removeprefix("/batches/")
    assert (answer.status_code, bench.services.batches.page().total) == (303, 2)
    assert [kind for kind in lines(bench, code) if kind != "undo"] == ["opened", "moment", "trier"]
    assert lines(bench, new) == ["opened", "moment", "moment"]
    first, second = (bench.services.batches.record(each).batch for each in (code, new))
    assert {name: line.at_ms for name, line in second.moments.items()} == {
        "charge": joined[1]["at_ms"],
        "yellow": yellow["at_ms"],
    }
    assert {line.by.device for line in second.lines} == {"tablet"}
    assert first.moments["charge"].flags == ()
    again = bench.client.post(f"/batches/{code}/split", data={"entry": joined[0]["id"]})
    assert again.status_code == 422


def test_two_batches_that_were_one_are_merged_and_late_taps_follow(bench: Bench):
    """All counting lines are in the one that stays; a tap that names the other one goes there, unless it is an undo."""
    one = bench.open(0, coffee="Alder washed", green_g=4000)
    other = bench.open(3, coffee="Alder", green_g=4000)
    bench.say(bench.entry("moment", 10, batch=one, moment="charge"))
    bench.say(bench.entry("moment", 12, batch=other, moment="charge"))
    bench.say(bench.entry("moment", 300, batch=other, moment="yellow"))
    assert f"/batches/{other}/merge" in bench.client.get(f"/batches/{one}").text
    answer = bench.client.post(f"/batches/{other}/merge", data={"into": one})
    assert (answer.status_code, answer.location) == (303, f"/batches/{one}")
    (late,) = bench.say(bench.entry("moment", 520, batch=other, moment="first_crack"))
    assert late["batch"] == one
    merged = bench.services.batches.record(one).batch
    assert set(merged.moments) == {"charge", "yellow", "first_crack"}
    assert merged.facts.coffee == "Alder washed"
    assert [batch.code for batch in bench.services.batches.page().items] == [one]
    assert "Merged with" in bench.client.get(f"/batches/{other}").text
    assert bench.client.post(f"/batches/{other}/merge", data={"into": one}).status_code == 422
    (taken_back,) = (line for line in bench.services.batches.record(other).batch.lines if line.kind == "merged")
    bench.say(bench.entry("undo", 600, batch=other, entry=str(taken_back.id)))
    assert bench.services.batches.page().total == 2


def test_a_batch_that_was_merged_is_not_split_too(bench: Bench):
    """Its lines are in the other one, and a second copy of them would be a roast that never was."""
    (opened, _) = bench.say(*pressed_charge(bench, 0, "phone"))
    joined = pressed_charge(bench, 5, "tablet")
    bench.say(*joined)
    other = bench.open(20, coffee="Alder", green_g=4000)
    assert bench.client.post(f"/batches/{opened['batch']}/merge", data={"into": other}).status_code == 303
    answer = bench.client.post(f"/batches/{opened['batch']}/split", data={"entry": joined[0]["id"]})
    assert (answer.status_code, "are already one" in answer.text) == (422, True)
    assert bench.services.batches.page().total == 1


@pytest.mark.parametrize("into", ["0", "26332-99X", "itself"])
def test_a_batch_is_merged_only_into_one_that_is_there(bench: Bench, into: str):
    """A program that names none, or the batch itself, is refused."""
    code = bench.open()
    (result,) = bench.say(bench.entry("merged", 0, batch=code, into=code if into == "itself" else into))
    assert result["status"] == "refused"
    assert bench.services.batches.page().total == 1


def test_batches_of_two_machines_are_never_one(bench: Bench):
    """Nothing is stored of a merge that is refused."""
    bench.services.machines.keep_sheet(SHEET.replace("drum-4", "drum-1"))
    one = bench.open(coffee="Alder washed")
    other = bench.say({**bench.entry("opened", 0), "machine": "drum-1"})[0]["batch"]
    answer = bench.client.post(f"/batches/{other}/merge", data={"into": one})
    assert answer.status_code == 422
    assert "on two machines" in answer.text
    assert lines(bench, one) == lines(bench, other) == ["opened"]


def test_a_device_that_floods_openings_does_not_use_up_the_codes(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """It is refused with what to do; another device opens a batch as ever, and so does the same one an hour later."""
    monkeypatch.setattr(entry_service, "MOST_OPENINGS", 5)

    def opened(device: str, number: int) -> dict[str, Any]:
        (result,) = bench.say({**bench.entry("opened", 0, coffee=f"Coffee {number}"), "by": {"device": device}})
        return result

    results = [opened("broken phone", number) for number in range(8)]
    assert [result["status"] for result in results] == ["stored"] * 5 + ["refused"] * 3
    assert "within an hour" in results[-1]["reason"]
    assert opened("tablet", 9)["status"] == "stored"
    bench.clock.turn_to(3700)
    assert opened("broken phone", 10)["status"] == "stored"


def test_openings_that_could_not_be_stored_are_not_counted(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """A phone that tries again until the disk takes its opening has begun one batch."""
    monkeypatch.setattr(entry_service, "MOST_OPENINGS", 3)
    opened = bench.entry("opened")

    def fail(*_: object) -> None:
        raise StoreError("the disk is full")

    with monkeypatch.context() as full:
        full.setattr(projections, "add_entry", fail)
        for _ in range(5):
            answer = bench.client.post("/api/entries", json={"entries": [opened]})
            assert answer.status_code == 503, answer.text
    assert [result["status"] for result in bench.say(opened)] == ["stored"]
