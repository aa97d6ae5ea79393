"""Lots, machines, people and the house through API and pages: created, corrected, undone, with author and time."""

from uuid import uuid4

import pytest

from roastlog.services import Role
from roastlog.store.books import LotRow
from tests.conftest import SHEET, START_MS, Bench
from tests.web.walk import browser

LOT = {"code": "QW-9", "coffee": "Birch natural", "bought": "30", "origin": "Sidama"}


def about(subject: str, kind: str, at_s: float = 0.0, **body: object) -> dict[str, object]:
    """An entry about a subject, as a program makes it."""
    at_ms = START_MS + round(at_s * 1000)
    return {"id": str(uuid4()), "about": subject, "kind": kind, "at_ms": at_ms, "by": {"person": "Ines"}, "body": body}


def test_a_lot_edited_twice_keeps_both_and_an_undo_gives_the_first_again(bench: Bench):
    """The lot's page shows author and time of each change, and follows the undo."""
    owner = browser(bench, Role.OWN, name="Office", person=None)
    assert owner.post("/lots/new", data=LOT).status_code == 303
    for coffee in ("Birch washed", "Birch honey"):
        data = {"coffee": coffee, "reason": "Read from the sack"}
        assert owner.post("/lots/QW-9/change", data=data).status_code == 303
    told = bench.client.get("/api/lots/QW-9").get_json()
    assert [entry["kind"] for entry in told["entries"]] == ["arrived", "amend", "amend"]
    assert {entry["by"]["device"] for entry in told["entries"]} == {"Office"}
    assert [entry["body"]["body"] for entry in told["entries"][1:]] == [
        {"coffee": "Birch washed"},
        {"coffee": "Birch honey"},
    ]
    assert told["facts"]["coffee"] == "Birch honey"
    undo = about("lot QW-9", "undo", 9, entry=told["entries"][-1]["id"])
    (result,) = bench.say(undo)
    assert (result["status"], result["about"]) == ("stored", "lot QW-9")
    assert bench.client.get("/api/lots/QW-9").get_json()["facts"]["coffee"] == "Birch washed"
    assert "Birch washed" in bench.client.get("/lots").text


def test_the_form_leaves_what_it_does_not_ask_for(bench: Bench):
    """The price and the note of a lot stay when its form is sent again."""
    bench.services.lots.keep(LotRow("QW-9", "Birch", bought_g=1000.0, price="9.87 a kilo", note="Sack 3 was torn"))
    bench.client.post("/lots/QW-9/change", data={**LOT, "reason": "mistyped"})
    lot = bench.services.lots.get("QW-9")
    assert (lot.coffee, lot.price, lot.note) == ("Birch natural", "9.87 a kilo", "Sack 3 was torn")


@pytest.mark.parametrize("subject", ["house", "lot QW-9"])
def test_an_entry_that_lies_ahead_does_not_lock_a_page(bench: Bench, subject: str):
    """It is refused with its reason, since the last entry counts; the pages go on to keep what they are given."""
    bench.client.post("/lots/new", data=LOT)
    kind, body = (
        ("set", {"business": "Ahead"}) if subject == "house" else ("arrived", {"coffee": "Ahead", "green_g": 5.0})
    )
    (result,) = bench.say(about(subject, kind, 3600, **body))
    assert result["status"] == "refused"
    assert "clock of the device" in result["reason"]
    bench.services.settings.change({"business": "Quillwater"})
    bench.client.post("/lots/QW-9/change", data={"coffee": "Birch honey", "reason": "mistyped"})
    assert bench.services.settings.current().business == "Quillwater"
    assert bench.services.lots.get("QW-9").coffee == "Birch honey"


def test_a_batchs_entry_that_lies_ahead_draws_no_other_after_it(bench: Bench):
    """One with a time a thousand years ahead is kept as it came; the weight typed after it has today's time."""
    code = bench.roast()
    (result,) = bench.say(bench.entry("note", 3e10, batch=code, text="From a phone with a wrong clock"))
    assert result["status"] == "stored"
    assert bench.client.post(f"/batches/{code}/weigh", data={"roasted": "3.4"}).status_code == 303
    (weighed,) = bench.services.batches.record(code).batch.of("weighed")
    assert weighed.at_ms <= bench.clock.now_ms() + 60_000


def test_the_same_form_sent_again_says_nothing_new(bench: Bench):
    """A form without a change creates no entry."""
    for _ in range(2):
        bench.client.post("/lots/new", data={**LOT, "id": "00000000-0000-4000-8000-000000000001"})
    assert len(bench.client.get("/api/lots/QW-9").get_json()["entries"]) == 1


def test_a_price_is_for_the_owner_alone(bench: Bench):
    """Neither the lot, the list, the entries nor their text reveal it to another role."""
    bench.services.lots.keep(LotRow("QW-9", "Birch", bought_g=1000.0, price="9.87 a kilo"))
    bench.services.lots.keep(LotRow("QW-9", "Birch", bought_g=1000.0, price="8.76 a kilo"))
    for path in ("/api/lots/QW-9", "/api/lots"):
        assert "8.76" in browser(bench, Role.OWN).get(path).text
        for role in (Role.LOOK, Role.OPERATE, Role.DECIDE):
            told = browser(bench, role).get(path).text
            assert "9.87" not in told
            assert "8.76" not in told


def test_settings_are_entries_that_can_be_taken_back(bench: Bench):
    """The page stores only changes; an undo restores the previous value."""
    bench.services.settings.change({"business": "Quillwater", "stall_c_per_min": 2.0})
    bench.services.settings.change({"business": "Ferry"})
    told = bench.client.get("/api/house").get_json()
    assert [entry["body"] for entry in told["entries"]] == [
        {"business": "Quillwater", "stall_c_per_min": 2.0},
        {"business": "Ferry"},
    ]
    bench.say(about("house", "undo", 5, entry=told["entries"][-1]["id"]))
    assert bench.services.settings.current().business == "Quillwater"
    assert bench.client.get("/api/house").get_json()["settings"]["stall_c_per_min"] == 2.0


def test_a_probe_check_is_an_entry_and_its_undo_gives_the_offset_before(bench: Bench):
    """The live machine uses the new offset at once, and the old one after the undo."""
    form = {"reference": "ice", "read": "1.5", "then": "keep"}
    path = "/machines/drum-4/channels/bean_probe/check"
    assert bench.client.post(path, data=form).status_code == 303
    assert bench.services.runtime.live("drum-4").machine.channels[0].offset_c == -1.5
    told = bench.client.get("/api/machines/drum-4").get_json()
    assert [entry["kind"] for entry in told["entries"]] == ["set_up", "probe_checked"]
    assert told["sheet"]["channels"][0]["offset_c"] == -1.5
    bench.say(about("machine drum-4", "undo", 5, entry=told["entries"][-1]["id"]))
    assert bench.services.runtime.live("drum-4").machine.channels[0].offset_c == 0.0


def test_a_sheet_imported_over_another_leaves_both(bench: Bench):
    """The undo of the second restores the first, and the recorder uses it."""
    bench.services.machines.add(SHEET.replace("Four-kilo drum", "Old drum"))
    told = bench.client.get("/api/machines/drum-4").get_json()
    assert [entry["body"]["sheet"]["name"] for entry in told["entries"]] == ["Four-kilo drum", "Old drum"]
    bench.say(about("machine drum-4", "undo", 5, entry=told["entries"][-1]["id"]))
    assert bench.services.machines.get("drum-4").name == "Four-kilo drum"
    (result,) = bench.say(about("machine drum-4", "undo", 6, entry=told["entries"][0]["id"]))
    assert "no description left" in result["reason"]


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (about("machine drum-9", "note", text="x"), "set it up first"),
        (
            about("machine drum-4", "probe_checked", channel="gas", offset_c=1, on="2026-11-28", against="ice"),
            "no such",
        ),
        (about("machine drum-9", "set_up", sheet={"id": "drum-4"}), "name"),
        (about("lot HU-7", "weighed", roasted_g=1.0), "not to lot"),
        (about("session 3", "poured", cups=5), "kind must be one of"),
        (about("session 3", "note", text="x"), "not “session”"),
        (about("house", "set", units_mass="stone"), "units_mass"),
        (about("person 1", "amend", entry=str(uuid4()), body={"name": "x"}), "not to person"),
    ],
)
def test_invalid_entries_are_refused_with_a_reason(bench: Bench, entry: dict[str, object], words: str):
    """One message each, and nothing is stored."""
    (result,) = bench.say(entry)
    assert result["status"] == "refused"
    assert words in result["reason"]


def test_no_entry_takes_a_password(bench: Bench):
    """It is typed on a page, and stored beside the journal."""
    channel = {
        "id": "a",
        "name": "A",
        "role": "room",
        "mqtt": {"host": "h", "topic": "t", "user": "u", "password": "p"},
    }
    sheet = {"id": "drum-4", "name": "Drum", "batch_g": [800, 4500], "channels": [channel]}
    (result,) = bench.say(about("machine drum-4", "set_up", sheet=sheet))
    assert "no entry holds a password" in result["reason"]


@pytest.mark.parametrize(
    ("role", "kept"),
    [(Role.OPERATE, []), (Role.DECIDE, ["arrived"]), (Role.OWN, ["arrived", "set", "named", "set_up"])],
)
def test_each_role_is_limited_to_its_kinds(bench: Bench, role: Role, kept: list[str]):
    """Lots for the role decide; the house, its people and its machines for the owner."""
    sheet = bench.client.get("/api/machines/drum-4").get_json()["sheet"]
    entries = [
        about("lot QW-9", "arrived", coffee="Birch", green_g=1.0),
        about("house", "set", business="x"),
        about("person 3f", "named", name="Tomas", shown="T."),
        about("machine drum-4", "set_up", sheet=sheet),
    ]
    results = browser(bench, role).post("/api/entries", json={"entries": entries}).get_json()["results"]
    assert [e["kind"] for e, r in zip(entries, results, strict=True) if r["status"] == "stored"] == kept


def test_a_second_arrival_and_an_unknown_lot_are_kept_with_a_notice(bench: Bench):
    """An odd but comprehensible entry is stored."""
    again, unknown = bench.say(
        about("lot HU-7", "arrived", 5, coffee="Other", green_g=1.0), about("lot XX-1", "note", text="where is it?")
    )
    assert "exists already" in again["notice"]
    assert "is unknown" in unknown["notice"]
    assert bench.services.lots.get("HU-7").coffee == "Alder washed"


def test_a_live_page_no_longer_names_an_erased_person(bench: Bench):
    """The batch in the drum, which is kept folded, names no author that was erased since."""
    bench.services.people.add("Ines", "Inez of the drum")
    (ines,) = bench.services.people.all()
    code = bench.open(green_g=4000)
    bench.say({**bench.entry("moment", batch=code, moment="charge"), "by": {"person": "Ines"}})
    assert "Ines" in bench.client.get("/machines/drum-4/view").text
    bench.say(about(f"person {ines.id}", "erased"))
    assert "Ines" not in bench.client.get("/machines/drum-4/view").text


def test_a_person_who_is_erased_is_gone_and_their_batches_are_not(bench: Bench):
    """Erasing is refused while a device is theirs; then no page or answer has the name, and all lines remain."""
    bench.services.people.add("Ines", "Inez of the drum")
    code = bench.roast(30)
    (ines,) = bench.services.people.all()
    browser(bench, Role.OPERATE, person="Ines")
    (refused,) = bench.say(about(f"person {ines.id}", "erased"))
    assert "Remove the devices" in refused["reason"]
    for device in bench.services.devices.all():
        bench.services.devices.cut_off(device.id)
    before = bench.client.get(f"/api/batches/{code}").get_json()
    entry = {**about(f"person {ines.id}", "erased", 60), "by": {"device": "office"}}
    assert bench.say(entry)[0]["status"] == "stored"
    after = bench.client.get(f"/api/batches/{code}").get_json()
    assert after["metrics"] == before["metrics"]
    assert len(after["entries"]) == len(before["entries"])
    assert after["entries"][0]["by"]["person"] == f"erased {ines.id}"
    house = bench.client.get("/api/house")
    assert house.get_json()["people"][0]["erased"]
    for text in (house.text, bench.client.get(f"/batches/{code}").text, bench.client.get("/settings").text):
        assert "Ines" not in text
        assert "Inez" not in text


def test_entries_of_a_newer_version_are_shown_as_such(bench: Bench):
    """The record shows it in words; an operator cannot undo it, and the API still refuses such a kind."""
    code = bench.open()
    ident = uuid4()

    def change(db) -> None:
        db.conn.execute("INSERT INTO words (word) VALUES ('sung')")
        db.conn.execute(
            "INSERT INTO entries (id, about, machine, kind, at_ms, late_ms, body)"
            " SELECT ?, about, machine, (SELECT id FROM words WHERE word = 'sung'), at_ms, 0, '{}' FROM entries"
            " WHERE about = (SELECT id FROM words WHERE word = ?)",
            (ident.bytes, f"batch {code}"),
        )

    bench.services.store.write(change)
    assert "From a newer version of Drumside: sung" in bench.client.get(f"/batches/{code}").text
    undo = bench.entry("undo", 5, batch=code, entry=str(ident))
    (result,) = browser(bench, Role.DECIDE).post("/api/entries", json={"entries": [undo]}).get_json()["results"]
    assert "newer version" in result["reason"]
    assert "kind must be one of" in bench.say(bench.entry("sung", batch=code))[0]["reason"]
