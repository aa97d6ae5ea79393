"""The served live page: the data for its scripts, in the roastery's unit."""

import json
import re
from typing import Any

import pytest

from roastlog.plot.figures import _panels
from tests.conftest import Bench


def block(page: str, ident: str) -> Any:  # noqa: ANN401 - JSON
    """One of the page's data blocks."""
    found = re.search(rf'<script type="application/json" id="{ident}">(.*?)</script>', page, re.DOTALL)
    assert found
    return json.loads(found[1])


def words(page: str) -> str:
    """Text of the page without scripts and tags, with plain spaces."""
    shown = re.sub(r"<script.*?</script>|<[^>]+>", " ", page, flags=re.DOTALL)
    return " ".join(shown.split())


@pytest.fixture
def charged(bench: Bench) -> Bench:
    """A drum charged at 200 °C."""
    code = bench.open()
    for second in range(5):
        bench.clock.turn_to(second)
        bench.push((second, "bean_probe", 200.0), (second, "bean_surface", 190.0))
    bench.say(bench.entry("moment", 2.0, batch=code, moment="charge"))
    return bench


@pytest.mark.parametrize(("unit", "charge"), [("C", "200.0 °C"), ("F", "392.0 °F")])
def test_the_page_reads_in_the_unit_that_was_set(charged: Bench, unit: str, charge: str):
    """Text, figure and script data are in the unit; the view stays in °C."""
    charged.services.settings.change({"units_temp": unit})
    page = charged.client.get("/machines/drum-4").text
    other = "°F" if unit == "C" else "°C"
    assert block(page, "units")["temp"] == unit
    assert f"Charge at 0 s, {charge}." in words(page)
    assert other not in words(page)
    figure = json.dumps(block(page, "figure"), ensure_ascii=False)
    assert f'"°{unit}/min"' in figure
    assert other not in figure
    assert block(page, "view")["batch"]["moments"][0]["temp_c"] == pytest.approx(200.0)


def test_a_page_finds_its_figure_made(charged: Bench):
    """The panels made at the server's start are reused: the first page makes none either."""
    charged.services.figures.make_ready("C")
    asked = _panels.cache_info()
    for _ in range(2):
        assert block(charged.client.get("/machines/drum-4").text, "figure")["item"]["root_id"]
    assert _panels.cache_info().misses == asked.misses
    assert _panels.cache_info().hits == asked.hits + 2


def test_programs_get_celsius_with_any_setting(charged: Bench):
    """The view and the curve, as JSON and CSV, ignore the setting."""
    paths = ["/machines/drum-4/view"]
    code = charged.client.get(paths[0]).get_json()["batch"]["code"]
    paths += [f"/api/batches/{code}/curve", f"/api/batches/{code}/curve.csv"]
    told = []
    for unit in "CF":
        charged.services.settings.change({"units_temp": unit})
        told.append([charged.client.get(path).text for path in paths])
    assert told[0] == told[1]
    assert "200.0" in told[0][2]


def test_a_record_is_drawn_in_the_unit_that_was_set(charged: Bench):
    """The record's figure has its axes in the unit of the tables."""
    code = charged.client.get("/machines/drum-4/view").get_json()["batch"]["code"]
    for unit, other in ("CF", "FC"):
        charged.services.settings.change({"units_temp": unit})
        figure = json.dumps(charged.client.get(f"/batches/{code}/figure.json").get_json(), ensure_ascii=False)
        assert f'"°{unit}"' in figure
        assert f"°{other}" not in figure


def test_today_shows_no_number_of_a_machine_that_is_silent(bench: Bench):
    """The last reading of a silent machine is not current: neither temperature nor rate is shown."""
    bench.roast(400)
    assert "°/min" in bench.client.get("/").text
    bench.clock.turn_to(500)
    page = bench.client.get("/").text
    assert "no readings" in page
    assert "°/min" not in page
