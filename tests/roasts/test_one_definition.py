"""The live page, the list, the record, Today and the phone agree on one batch."""

import re

import pytest

from roastlog.machine.views import MachineView
from tests.conftest import SHEET, Bench

INLET = '[[channels]]\nid = "inlet"\nname = "Inlet air"\nrole = "inlet_air"\nhttp = {}\n'
PROBE = '[[channels]]\nid = "bean_probe"\nname = "Bean probe"\nrole = "bean_probe"\nhttp = {}\n'
NO_PROBE = SHEET.replace(PROBE, INLET)


def test_a_machine_without_a_probe_is_headed_by_its_surface_everywhere(bench: Bench):
    """With inlet air first and the surface second, all of them use the surface for the beans."""
    bench.services.machines.add(NO_PROBE)
    view = bench.client.get("/machines/drum-4/view").get_json()
    assert [channel["role"] for channel in view["channels"]] == ["inlet_air", "bean_surface"]
    assert view["machine"]["bean"] == "bean_surface"
    assert re.findall(r"<dt>([^<]*)</dt>", bench.client.get("/machines/drum-4").text)[0] == "Bean surface"
    code = bench.open()
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    bench.push((1, "inlet", 250.0), (1, "bean_surface", 95.0))
    assert bench.services.live.now("drum-4").temp_c == 95.0
    assert bench.services.batches.record(code).bean == "bean_surface"


def test_a_machine_with_a_probe_is_headed_by_it(bench: Bench):
    """The probe is used wherever it is in the sheet."""
    assert MachineView.of(bench.services.machines.get("drum-4")).bean == "bean_probe"


@pytest.mark.parametrize("crack_s", [-5.0, 520.0])
def test_development_is_the_same_in_the_list_and_in_the_record(bench: Bench, crack_s: float):
    """If first crack was marked before the charge, there is no development: not 605 s and 100.8 %."""
    code = bench.open(plan={"development_s": 80})
    for moment, at_s in (("charge", 0.0), ("first_crack", crack_s), ("drop", 600.0)):
        bench.say(bench.entry("moment", at_s, batch=code, moment=moment))
    (row,) = bench.client.get("/api/batches").get_json()["batches"]
    metrics = bench.client.get(f"/api/batches/{code}").get_json()["metrics"]
    expected = (None, None) if crack_s < 0 else (80.0, pytest.approx(80 / 600))
    assert (row["development_s"], row["development_ratio"]) == expected
    assert (metrics["development_s"], metrics["development_ratio"]) == expected
    plan = bench.services.live.view("drum-4").batch.plan
    assert plan.drop_at_s == (None if crack_s < 0 else 600.0)


def test_the_temperature_of_a_moment_is_the_same_live_and_in_the_record(bench: Bench):
    """After its seconds are over, live page and record interpolate the same value."""
    code = bench.roast(240)
    live = {moment.moment: moment.temp_c for moment in bench.services.live.view("drum-4").batch.moments}
    kept = {row.moment: row.temp_c for row in bench.services.batches.record(code).measures.moments}
    assert live == {name: pytest.approx(kept[name], abs=0.01) for name in live}
    assert set(live) == {"charge", "yellow", "first_crack", "drop"}


def test_a_batch_that_has_cooled_leaves_today_when_it_leaves_the_phone(bench: Bench):
    """Until an hour after the drop both show it as cooling."""
    code = bench.roast(60)
    words = re.search(r'id="words">(.*?)</script>', bench.client.get("/machines/drum-4").text, re.DOTALL).group(1)
    assert '"cooled_ms":3600000' in words.replace(" ", "")
    for at_s, shown in ((60 + 3600, code), (60 + 3601, None)):
        bench.clock.turn_to(at_s)
        bench.push((at_s, "bean_probe", 25.0))
        assert bench.services.live.now("drum-4").batch_code == shown


def test_a_batch_without_a_name_is_called_so_in_the_language_of_the_page(bench: Bench):
    """The list and the live page use the same translated name."""
    bench.open()
    german = {"Accept-Language": "de"}
    assert "Charge ohne Namen" in bench.client.get("/machines/drum-4/view", headers=german).text
    assert "Unnamed batch" in bench.client.get("/machines/drum-4/view").text
    assert "Charge ohne Namen" in bench.client.get("/batches", headers=german).text
