"""The live view: its content besides the numbers."""

import pytest

from tests.conftest import SHEET, Bench


def view(bench: Bench) -> dict:
    """The view as a page receives it."""
    answer = bench.client.get("/machines/drum-4/view")
    assert answer.status_code == 200
    return answer.get_json()


def test_a_machine_without_a_batch(bench: Bench):
    """It shows the machine's parts and no batch."""
    told = view(bench)
    assert (told["batch"], told["waiting"], told["links"]) == (None, [], [])
    assert [channel["id"] for channel in told["channels"]] == ["bean_probe", "bean_surface"]
    (radiant,) = told["controls"]
    steps = {"low": 0, "high": 10, "step": 0.5, "decimals": 1}
    assert radiant == {"id": "radiant", "name": "Radiant", "unit": "step", **steps, "is_read": False}


def test_the_pad_goes_from_moment_to_moment(bench: Bench):
    """Charge, yellow, first crack, drop, then nothing; a skipped moment is not expected any more."""
    code = bench.open()
    seen = [view(bench)["batch"]["expected"]]
    for at_s, moment in ((0, "charge"), (300, "yellow"), (520, "first_crack"), (600, "drop")):
        bench.clock.turn_to(at_s)
        bench.say(bench.entry("moment", at_s, batch=code, moment=moment))
        seen.append(view(bench)["batch"]["expected"])
    assert seen == ["charge", "yellow", "first_crack", "drop", None]
    told = view(bench)["batch"]
    assert (told["state"], told["charged_at_ms"] + 600_000) == ("cooling", told["dropped_at_ms"])


@pytest.mark.parametrize(
    ("plan", "drop_at_s"),
    [
        # 522 s + 80 s
        ({"development_s": 80}, 602.0),
        # development ÷ time since charge = 13 %, so the drop is at 522 s ÷ (1 − 0.13) = 600 s
        ({"development_ratio": 0.13}, 600.0),
    ],
)
def test_the_plan_says_when_to_drop_once_first_crack_is_marked(bench: Bench, plan: dict, drop_at_s: float):
    """The drop is planned by time or by ratio; before first crack, and without a plan, there is no time."""
    code = bench.open(plan=plan)
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    assert view(bench)["batch"]["plan"]["drop_at_s"] is None
    bench.clock.turn_to(523)
    bench.say(bench.entry("moment", 522, batch=code, moment="first_crack"))
    assert view(bench)["batch"]["plan"]["drop_at_s"] == pytest.approx(drop_at_s)


def test_the_next_batch_waits_while_one_roasts(bench: Bench):
    """The next batch is shown as waiting, and takes over when the one before was dropped."""
    first = bench.open(-30, coffee="Alder washed")
    bench.say(bench.entry("moment", 0, batch=first, moment="charge"))
    second = bench.open(60, coffee="Night Ferry")
    told = view(bench)
    assert (told["batch"]["code"], told["batch"]["state"]) == (first, "roasting")
    assert told["waiting"] == [{"code": second, "title": "Night Ferry"}]
    bench.clock.turn_to(600)
    bench.say(bench.entry("moment", 600, batch=first, moment="drop"))
    told = view(bench)
    assert (told["batch"]["code"], told["batch"]["state"], told["waiting"]) == (second, "open", [])
    assert told["batch"]["charged_at_ms"] is None


def test_after_the_drop_the_batch_stays_until_the_next_is_opened(bench: Bench):
    """The cooling timer continues; weighing does not remove the batch."""
    code = bench.roast(60, green_g=4000)
    assert (view(bench)["batch"]["code"], view(bench)["batch"]["state"]) == (code, "cooling")
    bench.say(bench.entry("weighed", 600, batch=code, roasted_g=3400))
    assert (view(bench)["batch"]["code"], view(bench)["batch"]["state"]) == (code, "weighed")
    following = bench.open(700)
    assert view(bench)["batch"]["code"] == following


def test_a_roast_without_a_drop_holds_the_machine_for_two_hours_at_most(bench: Bench):
    """A forgotten batch is shown for two hours at most; then the next one has the page."""
    first = bench.open()
    bench.say(bench.entry("moment", 0, batch=first, moment="charge"))
    second = bench.open(100, coffee="Alder washed")
    bench.clock.turn_to(7100)
    assert view(bench)["batch"]["code"] == first
    bench.clock.turn_to(7300)
    assert view(bench)["batch"]["code"] == second


def test_a_discarded_batch_leaves_the_page(bench: Bench):
    """Undoing the opening removes the batch."""
    opened = bench.entry("opened", -30)
    bench.say(opened)
    bench.say(bench.entry("undo", -20, batch=str(opened["id"]), entry=opened["id"]))
    assert view(bench)["batch"] is None


def test_a_check_tapped_while_readings_were_down_is_on_the_curve(bench: Bench):
    """It stands at the nearest temperature known."""
    code = bench.open()
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    for second in range(60):
        bench.clock.turn_to(second)
        bench.push((second, "bean_probe", 100.0 + second))
    bench.clock.turn_to(240)
    bench.say(bench.entry("trier", 200, batch=code, stage="yellow"))
    checks = view(bench)["batch"]["chart"]["checks"]
    assert (checks["stage"], checks["t_s"]) == (["yellow"], [200.0])
    assert checks["temp_c"][0] == pytest.approx(159.0, abs=2)


def test_a_control_that_is_read_takes_no_move_of_a_person(bench: Bench):
    """Its register says what it is set to; a tap that says otherwise is refused with where to turn it."""
    register = 'modbus = { host = "127.0.0.1", port = 1, unit = 1, table = "holding", address = 0, type = "uint16" }'
    bench.services.machines.keep_sheet(f"{SHEET}{register}\n")
    code = bench.open()
    assert view(bench)["controls"][0]["is_read"]
    (refused,) = bench.say(bench.entry("move", 5, batch=code, control="radiant", setting=4))
    assert refused["status"] == "refused"
    assert "read from the machine" in refused["reason"]


def test_the_log_is_newest_first_and_marks_odd_entries(bench: Bench):
    """Lines have text and author; undone ones are gone, and marks show late, doubled and out of order."""
    code = bench.open(coffee="Alder washed")
    crack = bench.entry("crack", 20, batch=code, vigour="steady")
    bench.say(
        bench.entry("moment", 0, batch=code, moment="charge"),
        bench.entry("moment", 10, batch=code, moment="first_crack"),
        bench.entry("moment", 30, batch=code, moment="yellow"),
        bench.entry("moment", 35, batch=code, moment="yellow"),
        bench.entry("move", 36, batch=code, control="radiant", setting=4.5),
        crack,
        bench.entry("undo", 40, batch=code, entry=crack["id"]),
        bench.entry("moment", 41, batch=code, moment="drop"),
        bench.entry("released", 42, batch=code, decision="release"),
    )
    bench.clock.turn_to(50)
    bench.say(bench.entry("note", 50, batch=code, text="forgot to say"))
    log = view(bench)["batch"]["log"]
    assert [(line["text"], line["flags"]) for line in log] == [
        ("forgot to say", ["arrived after the release"]),
        ("Released", []),
        ("Drop", ["implausibly early"]),
        ("Radiant to 4.5", []),
        ("Yellow", ["already marked"]),
        ("Yellow", ["implausibly early"]),
        ("First crack", ["out of order"]),
        ("Charge", []),
        ("Batch opened · Alder washed", []),
    ]
    assert [line["late"] for line in log] == [True] + [False] * 8
    assert {line["by"] for line in log} == {"Ines"}
    assert [line["clock"] for line in log[3:5]] == ["0:36", "0:35"]
    assert not log[-1]["shiftable"]


def test_moments_before_a_charge_have_no_time_yet(bench: Bench):
    """They are on the view and the page without times; the charge gives them their times."""
    code = bench.open()
    bench.say(
        bench.entry("moment", 30, batch=code, moment="yellow"), bench.entry("trier", 20, batch=code, stage="pale")
    )
    assert [moment["time_s"] for moment in view(bench)["batch"]["moments"]] == [None]
    assert bench.client.get("/machines/drum-4").status_code == 200
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    assert [moment["time_s"] for moment in view(bench)["batch"]["moments"]] == [0, 30]


def test_moments_carry_the_temperature_that_was_read(bench: Bench):
    """The temperature is that of the moment's second; the turning point comes from the curve."""
    code = bench.roast(240)
    told = view(bench)["batch"]
    curve = bench.client.get(f"/api/batches/{code}/curve").get_json()["bean_probe"]
    for moment in told["moments"]:
        assert moment["temp_c"] == pytest.approx(curve[round(moment["time_s"])], abs=0.6)
    assert told["turning_point"]["temp_c"] == pytest.approx(min(curve), abs=0.2)
    assert "turning point" in told["chart"]["marks"]["label"]


def test_a_shift_moves_the_marks_on_the_chart(bench: Bench):
    """The chart's marks show the shifted times."""
    code = bench.open()
    crack = bench.entry("moment", 200, batch=code, moment="first_crack")
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"), crack)
    bench.clock.turn_to(210)
    bench.say(bench.entry("shift", 205, batch=code, entry=crack["id"], by_s=-15))
    marks = view(bench)["batch"]["chart"]["marks"]
    assert dict(zip(marks["label"], marks["t_s"], strict=True))["first crack"] == 185
