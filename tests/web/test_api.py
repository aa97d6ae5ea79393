"""The API and its answers to invalid input."""

import csv
import io
import json
from uuid import uuid4

import pytest
from openapi_spec_validator import validate

from roastlog.store.ground import logs
from tests.conftest import START_MS, Bench


def test_health_names_each_machine(bench: Bench):
    """It answers ok, with the time of each machine's last data."""
    bench.push((0, "bean_probe", 200.0))
    answer = bench.client.get("/healthz")
    assert answer.status_code == 200
    assert answer.get_json() == {
        "status": "ok",
        "machines": [{"id": "drum-4", "state": "ok", "last_reading_at_ms": START_MS}],
    }


def test_asking_for_health_does_not_keep_the_disk_busy(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """One test write serves for a while, since anyone may ask."""
    monkeypatch.setattr("roastlog.store.store.TRIED_S", 60.0)
    bench.services.store._tried_s = -60.0
    log = logs(bench.services.store.path)[0]
    sizes = [log.stat().st_size]
    for _ in range(20):
        assert bench.client.get("/healthz").status_code == 200
        sizes.append(log.stat().st_size)
    assert sizes[0] < sizes[1]
    assert len(set(sizes[1:])) == 1


def test_a_database_that_cannot_be_read_is_reported(bench: Bench):
    """Pages and API answer 503 with the remedy; data in memory is not reported as lost."""
    bench.services.store.write(lambda db: db.execute("ALTER TABLE batches RENAME TO gone"))
    page = bench.client.get("/batches")
    assert page.status_code == 503
    assert "stay in memory" in page.text
    answer = bench.client.get("/api/batches")
    assert answer.status_code == 503
    assert "cannot be read" in answer.get_json()["error"]


def test_the_clock_tells_time_and_rate(bench: Bench):
    """A phone measures its clock offset with it."""
    assert bench.client.get("/api/clock").get_json() == {"now_ms": START_MS, "rate": 1.0}


def test_a_batch_in_json_has_moments_phases_and_metrics(bench: Bench):
    """Moments are in seconds from charge, including the turning point."""
    code = bench.roast(lot="HU-7", green_g=4000, intent="filter")
    bench.say(bench.entry("weighed", 900, batch=code, roasted_g=3432))
    told = bench.client.get(f"/api/batches/{code}").get_json()
    assert (told["code"], told["machine"], told["state"], told["coffee"]) == (code, "drum-4", "weighed", "Alder washed")
    assert told["moments"] | {"turning_point": 0} == {
        "charge": 0,
        "turning_point": 0,
        "yellow": 300,
        "first_crack": 522,
        "drop": 600,
    }
    assert 20 < told["moments"]["turning_point"] < 120
    assert [phase["name"] for phase in told["phases"]] == ["drying", "browning", "development"]
    assert sum(phase["share"] for phase in told["phases"]) == pytest.approx(1)
    assert all(phase["area_c_min"] > 0 for phase in told["phases"])
    assert told["metrics"]["area_base_c"] == 100.0
    assert 0 < told["metrics"]["turning_point_error_s"] < 5
    assert told["metrics"]["development_s"] == 78
    assert told["metrics"]["development_ratio"] == pytest.approx(78 / 600)
    assert told["metrics"]["roast_loss"] == pytest.approx(0.142)
    assert len(told["entries"]) == 6


def test_the_curve_has_one_row_a_second_and_a_rate_for_each_bean_channel(bench: Bench):
    """JSON and CSV carry the same columns."""
    code = bench.roast(120)
    told = bench.client.get(f"/api/batches/{code}/curve").get_json()
    live = ["t_s", "bean_probe", "bean_surface", "rate_bean_probe", "rate_bean_surface"]
    over = [f"smooth_{kind}{name}" for name in ("bean_probe", "bean_surface") for kind in ("", "rate_")]
    assert list(told) == [*live, *over, "setting_radiant"]
    assert told["t_s"] == list(range(121))
    assert told["bean_surface"][60] == pytest.approx(102)
    assert told["rate_bean_surface"][100] == pytest.approx(12, abs=0.1)
    lines = bench.client.get(f"/api/batches/{code}/curve.csv").text.splitlines()
    assert lines[0] == ",".join([*told, "moment"])
    assert lines[61].startswith(f"60,{told['bean_probe'][60]}")


def test_the_csv_has_the_settings_and_the_moments_of_every_second(bench: Bench):
    """A setting is in force from its move on, one from before charge in the first row; two moments share a row."""
    code = bench.open()
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    bench.clock.turn_to(121)
    bench.push(*((second, "bean_probe", 95.0 + second) for second in range(121)))
    for at_s, control, setting in ((-20, "radiant", 7.5), (40.2, "radiant", 6.0), (90, "radiant", 6.5)):
        bench.say(bench.entry("move", at_s, batch=code, control=control, setting=setting))
    for at_s, moment in ((60.4, "yellow"), (99.6, "first_crack"), (100.3, "second_crack"), (120, "drop")):
        bench.say(bench.entry("moment", at_s, batch=code, moment=moment))
    text = bench.client.get(f"/api/batches/{code}/curve.csv").text
    rows = {int(row["t_s"]): row for row in csv.DictReader(io.StringIO(text))}
    assert {second: float(rows[second]["setting_radiant"]) for second in (0, 40, 41, 89, 90, 120)} == {
        0: 7.5, 40: 7.5, 41: 6.0, 89: 6.0, 90: 6.5, 120: 6.5,
    }  # fmt: skip
    named = {row["moment"]: second for second, row in rows.items() if row["moment"] not in {"", "turning_point"}}
    assert named == {"charge": 0, "yellow": 60, "first_crack; second_crack": 100, "drop": 120}
    told = bench.client.get(f"/api/batches/{code}/curve").get_json()
    assert told["setting_radiant"] == [float(row["setting_radiant"]) for row in rows.values()]


def test_a_control_without_a_move_has_an_empty_column(bench: Bench):
    """Before its first move nothing is known of a control; a move before charge is known in the first row."""
    code = bench.roast(60)
    assert set(bench.client.get(f"/api/batches/{code}/curve").get_json()["setting_radiant"]) == {None}
    bench.say(bench.entry("move", 30, batch=code, control="radiant", setting=4))
    assert bench.client.get(f"/api/batches/{code}/curve").get_json()["setting_radiant"] == [None] * 30 + [4] * 31


def test_a_shift_of_charge_moves_the_stored_curve_with_it(bench: Bench):
    """Readings are stored by wall time, so the curve starts at the charge."""
    code = bench.roast(120)
    charge = next(
        entry
        for entry in bench.client.get(f"/api/batches/{code}").get_json()["entries"]
        if entry["body"].get("moment") == "charge"
    )
    before = bench.client.get(f"/api/batches/{code}/curve").get_json()["bean_surface"]
    bench.say(bench.entry("shift", 130, batch=code, entry=charge["id"], by_s=10))
    after = bench.client.get(f"/api/batches/{code}/curve").get_json()
    assert after["bean_surface"][:100] == before[10:110]
    assert after["t_s"][-1] == 110


def test_an_entry_sent_again_counts_once(bench: Bench):
    """The second answer is `known`, with the same batch."""
    code = bench.open()
    note = bench.entry("note", batch=code, text="smells of bread")
    assert [result["status"] for result in bench.say(note, note)] == ["stored", "known"]
    assert bench.say(note)[0] == {"id": note["id"], "status": "known", "batch": code}
    assert len(bench.client.get(f"/api/batches/{code}").get_json()["entries"]) == 2


def test_entries_may_name_their_batch_by_its_opening(bench: Bench):
    """A phone without a network does not know the code yet."""
    opened = bench.entry("opened")
    results = bench.say(opened, bench.entry("moment", batch=str(opened["id"]), moment="charge"))
    assert {result["status"] for result in results} == {"stored"}
    assert results[0]["batch"] == results[1]["batch"]


def test_one_bad_entry_spoils_no_other(bench: Bench):
    """Each entry is answered separately."""
    code = bench.open()
    results = bench.say(
        bench.entry("note", batch=code, text="a"),
        bench.entry("note", batch=code, text=""),
        {"id": "x"},
        bench.entry("note", batch=code, text="b"),
    )
    assert [result["status"] for result in results] == ["stored", "refused", "refused", "stored"]


def test_a_mistyped_code_is_distinguished_from_an_unknown_one(bench: Bench):
    """The check character distinguishes a mistyped code from an unknown one."""
    code = bench.open()
    mistyped = code[:-1] + ("A" if code[-1] != "A" else "B")
    answer = bench.client.get(f"/api/batches/{mistyped}")
    assert (answer.status_code, "mistyped" in answer.get_json()["title"]) == (404, True)
    answer = bench.client.get("/api/batches/26001-01S")
    assert answer.status_code == 404
    assert bench.say(bench.entry("note", batch=mistyped, text="x"))[0]["status"] == "refused"


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        ({"channel": "bean_probe", "value": "warm"}, "not a number"),
        ({"channel": "bean_probe", "value": True}, "not a number"),
        ({"channel": "bean_probe", "value": None}, "not a number"),
        ({"channel": "bean_probe", "value": 9e9}, "Temperature must be"),
        ({"channel": "bean_probe", "value": float("nan")}, "Temperature must be"),
        ({"channel": "bean_probe", "value": float("inf")}, "Temperature must be"),
        ({"channel": "probe", "value": 20}, "no channel “probe”"),
        ({"channel": "bean_probe", "value": 20, "at_ms": START_MS + 60_000}, "ahead"),
        ({"channel": "bean_probe", "value": 20, "at_ms": START_MS - 90_000_000}, "more than a day"),
        ({"channel": "bean_probe", "value": 20, "at_ms": "now"}, "whole number"),
        ({"channel": "bean_probe", "value": 20, "at_ms": 10**400}, "whole number"),
        ({"channel": "bean_probe", "value": 20, "unit": "C"}, "nothing else"),
        (7, "object"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_alone(bench: Bench, reading: object, words: str):
    """The other readings of the same push are accepted."""
    good = {"channel": "bean_probe", "value": 20.5}
    answer = bench.client.post(
        "/api/machines/drum-4/readings",
        data=json.dumps({"readings": [good, reading, good]}),
        content_type="application/json",
    )
    told = answer.get_json()
    assert answer.status_code == 202
    assert (told["accepted"], [item["index"] for item in told["refused"]]) == (2, [1])
    assert words in told["refused"][0]["reason"]


def test_a_logger_that_was_away_catches_up_to_a_day_back(bench: Bench):
    """Back-dated readings are in the record."""
    code = bench.roast(60)
    bench.clock.turn_to(7200)
    bench.push(*((second + 0.5, "bean_probe", 500.0) for second in range(20, 24)))
    curve = bench.client.get(f"/api/batches/{code}/curve").get_json()
    assert max(curve["bean_probe"]) > 250


@pytest.mark.parametrize(
    ("path", "data", "content_type", "status"),
    [
        ("/api/entries", b"{", "application/json", 400),
        ("/api/entries", b"[]", "application/json", 422),
        ("/api/entries", b'{"entries": 3}', "application/json", 422),
        ("/api/entries", b"entries=1", "application/x-www-form-urlencoded", 415),
        ("/api/entries", b'{"entries": ["' + b"x" * 1_000_001 + b'"]}', "application/json", 413),
        ("/api/machines/drum-4/readings", b"{}", "application/json", 422),
        ("/api/machines/nowhere/readings", b'{"readings": []}', "application/json", 404),
        ("/api/machines/drum-4/readings", b"1,2", "text/csv", 415),
    ],
)
def test_a_body_that_cannot_be_read_is_answered_in_words(
    bench: Bench, path: str, data: bytes, content_type: str, status: int
):
    """The status is correct, there is a message, and earlier data is unchanged."""
    code = bench.open()
    answer = bench.client.post(path, data=data, content_type=content_type)
    assert answer.status_code == status
    assert len(answer.get_json()["error"]) > 20
    assert bench.client.get(f"/api/batches/{code}").status_code == 200


def test_a_roasted_weight_above_the_green_is_refused(bench: Bench):
    """The message names the weights to check."""
    code = bench.roast(30, green_g=4000)
    result = bench.say(bench.entry("weighed", 60, batch=code, roasted_g=4100))[0]
    assert result["status"] == "refused"
    assert "at most the 4,000 g of green" in result["reason"]
    assert bench.services.batches.record(code).batch.state == "cooling"


def test_a_used_up_lot_is_reported_and_the_batch_still_opens(bench: Bench):
    """The stock may be wrong; the beans in the hopper are not."""
    for _ in range(4):
        bench.open(lot="HU-7", green_g=4900)
    result = bench.say(bench.entry("opened", lot="HU-7", green_g=4000))[0]
    assert result["status"] == "stored"
    assert "0.4 kg in stock" in result["notice"]
    assert "is unknown" in bench.say(bench.entry("opened", lot="XX"))[0]["notice"]


def test_odd_moments_are_kept_with_a_notice(bench: Bench):
    """Out of order, doubled, about nothing, or in the future: kept, with a notice."""
    code = bench.open()
    bench.clock.turn_to(400)
    results = bench.say(
        bench.entry("moment", 0, batch=code, moment="charge"),
        bench.entry("moment", 200, batch=code, moment="first_crack"),
        bench.entry("moment", 300, batch=code, moment="yellow"),
        bench.entry("moment", 302.5, batch=code, moment="yellow"),
        bench.entry("undo", 303, batch=code, entry=str(uuid4())),
        bench.entry("moment", 4000, batch=code, moment="drop"),
    )
    assert {result["status"] for result in results} == {"stored"}
    words = [None, None, "out of order", "2.5 s earlier", "has not arrived", "is in the future"]
    for result, expected in zip(results, words, strict=True):
        assert expected is None or expected in result["notice"]


def test_a_move_out_of_range_or_of_no_control_is_refused(bench: Bench):
    """The message lists the controls and their range."""
    code = bench.open()
    far, none = bench.say(
        bench.entry("move", batch=code, control="radiant", setting=11),
        bench.entry("move", batch=code, control="gas", setting=1),
    )
    assert "must be 0–10" in far["reason"]
    assert "there is radiant" in none["reason"]


def test_an_amendment_that_cannot_be_true_is_refused(bench: Bench):
    """A corrected weight is also checked against the green weight."""
    code = bench.roast(30, green_g=4000)
    weighed = bench.entry("weighed", 60, batch=code, roasted_g=3400)
    bench.say(weighed)
    too_much = bench.entry("amend", 70, batch=code, entry=weighed["id"], body={"roasted_g": 4100})
    unfit = bench.entry("amend", 70, batch=code, entry=weighed["id"], body={"colour": "brown"})
    assert [result["status"] for result in bench.say(too_much, unfit)] == ["refused", "refused"]


def test_batches_are_listed_newest_first_and_filtered(bench: Bench):
    """Paged, and filtered by coffee, by machine, and by a part of the text."""
    codes = [bench.open(second, coffee=f"Coffee {second % 2}") for second in range(5)]
    told = bench.client.get("/api/batches?size=2&page=2").get_json()
    assert (told["total"], told["pages"], told["page"]) == (5, 3, 2)
    assert [batch["code"] for batch in told["batches"]] == [codes[2], codes[1]]
    assert bench.client.get("/api/batches?coffee=Coffee 1").get_json()["total"] == 2
    assert bench.client.get("/api/batches?q=offee 0").get_json()["total"] == 3
    assert bench.client.get("/api/batches?q=%25").get_json()["total"] == 0
    assert bench.client.get("/api/batches?machine=other").get_json()["total"] == 0
    assert "token" not in told["batches"][0]


def test_missed_entries_can_be_fetched(bench: Bench):
    """Entries after a number are returned, each with its own."""
    code = bench.open()
    seq = bench.client.get("/api/entries?machine=drum-4&after=0").get_json()["seq"]
    bench.say(bench.entry("note", batch=code, text="a"), bench.entry("note", batch=code, text="b"))
    told = bench.client.get(f"/api/entries?machine=drum-4&after={seq}").get_json()
    assert [entry["body"]["text"] for entry in told["entries"]] == ["a", "b"]
    assert told["seq"] == told["entries"][-1]["seq"]


def test_the_description_is_sound_openapi_and_lists_every_call(bench: Bench):
    """openapi-spec-validator accepts it as OpenAPI 3.1, and it matches the existing routes."""
    told = bench.client.get("/api/openapi.json").get_json()
    validate(told)
    routes = {
        (rule.rule.replace("<path:", "<").replace("<", "{").replace(">", "}"), method.lower())
        for rule in bench.app.url_map.iter_rules()
        for method in rule.methods or ()
        if (rule.rule.startswith("/api/") or rule.rule == "/healthz") and method in {"GET", "POST"}
    }
    described = {(path, method) for path, calls in told["paths"].items() for method in calls}
    assert routes - {("/api/openapi.json", "get")} == described


def test_a_batch_whose_opening_is_shifted_is_opened_then_in_every_answer(bench: Bench):
    """The list is in order of the shifted times, and list, batch and folded record give the same time."""
    first, second = bench.open(-200), bench.open(-100, coffee="Alder washed")
    opened = bench.services.batches.record(first).batch.opened
    bench.say(bench.entry("shift", 0, batch=first, entry=str(opened.id), by_s=150))
    listed = bench.client.get("/api/batches").get_json()["batches"]
    assert [(batch["code"], batch["opened_ms"]) for batch in listed] == [
        (first, START_MS - 50_000),
        (second, START_MS - 100_000),
    ]
    assert bench.client.get(f"/api/batches/{first}").get_json()["opened_ms"] == START_MS - 50_000
    assert bench.services.batches.record(first).batch.opened.at_ms == START_MS - 50_000
