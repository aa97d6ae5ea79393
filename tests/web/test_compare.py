"""The comparison page: batches side by side, messages for batches that it cannot show, and links."""

import re
import shutil
from collections.abc import Iterator
from html import unescape
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from roastlog.curve.smoothing import smooth_curve
from roastlog.services import Services, open_services
from roastlog.web.app import create_app
from roastlog.web.desk.comparison_tables import by_mass, by_rate, by_seconds, by_temp, signed
from roastlog.web.http.formatting import HARD_SPACE, Units
from tests.conftest import Bench, HandClock

NASTY = "<script>alert(1)</script>\"'&"


def text_of(page: str) -> str:
    """Text of a page, without tags."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).replace(HARD_SPACE, " ").split())


@pytest.fixture(scope="module")
def roasted(furnished: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    """A data folder with three batches: two of one coffee, the second smaller and cut late, and one of another."""
    folder, clock = shutil.copytree(furnished, tmp_path_factory.mktemp("roasted") / "data"), HandClock()
    services = open_services(folder, clock)
    services.start()
    bench = Bench(services, clock, create_app(services))
    first = bench.roast(coffee="Alder washed", green_g=4000)
    second = bench.roast(start_s=2000, coffee="Alder washed", green_g=3600)
    third = bench.roast(start_s=4000, coffee=f"Night Ferry {NASTY}", green_g=4000)
    for code, start_s, cut_s in ((first, 0, 300), (second, 2000, 345), (third, 4000, 300)):
        bench.say(
            bench.entry("move", start_s - 5, batch=code, control="radiant", setting=5.0),
            bench.entry("move", start_s + cut_s, batch=code, control="radiant", setting=3.0),
        )
    services.close()
    return folder, [first, second, third]


@pytest.fixture
def codes(roasted: tuple[Path, list[str]]) -> list[str]:
    """Codes of the three batches, which are in this test's data folder."""
    return roasted[1]


@pytest.fixture
def services(
    tmp_path: Path, clock: HandClock, furnished: Path, roasted: tuple[Path, list[str]], request: pytest.FixtureRequest
) -> Iterator[Services]:
    """Services over a folder of the test's own; with the three batches, just after the last drop, for their codes."""
    has_batches = "codes" in request.fixturenames
    if has_batches:
        clock.turn_to(4600)
    services = open_services(shutil.copytree(roasted[0] if has_batches else furnished, tmp_path / "data"), clock)
    services.start()
    yield services
    services.close()


def test_batches_stand_side_by_side(bench, codes):
    """Each batch has its letter and column, with values beside the guide's and differences below."""
    page = bench.client.get(f"/compare?batches={codes[0]},{codes[1]}")
    said = text_of(page.text)
    assert page.status_code == 200
    assert f"A {codes[0]}" in said
    assert f"B {codes[1]}" in said
    assert "Green weight 4 000 g 3 600 g −400 g" in said
    assert "First crack 8:42 8:42 0 s" in said
    assert "5:00 3 5:45 → 3 +45 s" in said
    assert "Mean – 0.0 °C" in said  # the same curve to the tenth


def test_actions_come_first(bench, codes):
    """The smaller charge and the late cut are listed under the actions, with the basis of the judgement."""
    said = text_of(bench.client.get(f"/compare?batches={codes[0]},{codes[1]}").text)
    done = said.index("Done differently")
    assert done < said.index("Charge weight 400 g less")
    assert done < said.index("Radiant cut 45 s later, at 5:45")
    assert "Drumside’s defaults" in said


def test_a_batch_without_outlier_says_so(bench, codes):
    """A batch without an outlier says so, and one of another coffee says that much will differ."""
    said = text_of(bench.client.get(f"/compare?batches={codes[0]},{codes[2]}").text)
    assert "No notable differences." in said
    assert "Another coffee than A" in said


@pytest.mark.parametrize("align", ["charge", "yellow", "first_crack", "temperature", "sideways"])
def test_every_alignment_has_page_and_figure(bench, codes, align):
    """Each alignment has its page and figure; an unknown one falls back to charge."""
    query = f"batches={','.join(codes)}&align={align}"
    page = bench.client.get(f"/compare?{query}")
    figure = bench.client.get(f"/compare/figure.json?{query}")
    chosen = re.findall(r'aria-current="true">([^<]+)', page.text)
    words = {"yellow": "At yellow", "first_crack": "At first crack", "temperature": "At equal temperature"}
    assert page.status_code == figure.status_code == 200
    assert chosen[0] == words.get(align, "At charge")
    assert figure.get_json()["item"]["doc"]["roots"]


def test_address_is_permanent_and_says_all(bench, codes):
    """A choice by checkboxes leads to one address, which the page's own links use."""
    chosen = bench.client.get(f"/compare?batches={codes[0]},{codes[1]}&batches={codes[2]}&align=yellow")
    assert chosen.status_code == 303
    assert chosen.location == f"/compare?batches={','.join(codes)}&align=yellow"
    page = unescape(bench.client.get(chosen.location + "&control=radiant").text)
    assert f'href="/compare?batches={codes[1]},{codes[0]},{codes[2]}&align=yellow&control=radiant"' in page
    assert f'href="/compare?batches={codes[0]},{codes[2]}&align=yellow&control=radiant"' in page
    assert f'data-figure="/compare/figure.json?batches={",".join(codes)}&align=yellow&control=radiant"' in page


def test_from_a_record_the_guide_is_chosen_already(bench, codes):
    """The guide is the batch's own, else the previous batch of that coffee, else none."""
    guided = bench.roast(start_s=6000, coffee="Alder washed", guide=codes[0])
    assert bench.client.get(f"/compare?of={guided}").location == f"/compare?batches={codes[0]},{guided}"
    assert bench.client.get(f"/compare?of={codes[1]}").location == f"/compare?batches={codes[0]},{codes[1]}"
    assert bench.client.get(f"/compare?of={codes[2]}").location == f"/compare?batches={codes[2]}"
    assert f'href="/compare?of={guided}"' in bench.client.get(f"/batches/{guided}").text


def test_code_that_leads_nowhere_spoils_no_other(bench, codes):
    """A mistyped and an unknown code are reported separately, with the remedy, and the others are shown."""
    wrong = codes[0][:-1] + ("0" if codes[0][-1] != "0" else "1")
    page = bench.client.get(f"/compare?batches={codes[0]},{wrong},{codes[1]}")
    said = text_of(page.text)
    assert page.status_code == 200
    assert f"“{wrong}” is not shown." in said
    assert "The others are below. Check the code on the label" in said
    assert f"B {codes[1]}" in said
    alone = bench.client.get("/compare?batches=26001-01")
    assert alone.status_code == 404
    assert "All records are safe" in alone.text
    assert "Choose batches" in alone.text


def test_batch_without_a_curve_and_one_too_many_are_reported(bench, codes):
    """A batch that was only opened has no curve; a seventh batch is refused; a repeated code counts once."""
    opened = bench.open(5000, coffee="Alder washed")
    said = text_of(bench.client.get(f"/compare?batches={codes[0]},{codes[0]},{opened}").text)
    assert f"“{opened}” is not shown. It has no curve" in said
    assert f"{codes[0]} alone" in said
    more = [bench.roast(200, start_s=7000 + 300 * number) for number in range(4)]
    said = text_of(bench.client.get(f"/compare?batches={','.join([*codes, *more])}").text)
    assert f"“{more[-1]}” is not shown. At most 6" in said


def test_rates_of_roasts_that_are_over_are_the_smoothed_ones(bench, codes):
    """A finished batch uses its smoothed rate, one that still roasts its live rate."""
    code = bench.open(8000)
    bench.say(bench.entry("moment", 8030, batch=code, moment="charge"))
    for second in range(8030, 8230):
        bench.clock.turn_to(second)
        bench.push((second, "bean_probe", 95 + 0.2 * abs(second - 8100)))
    over, under_way = bench.services.comparison.compare([codes[0], code]).batches
    smoothed = smooth_curve(over.roast.time_s, over.roast.temp_c).rate_c_per_min
    live = under_way.record.traced.rate("bean_probe")
    assert np.isfinite(smoothed).sum() > 400
    assert np.array_equal(over.roast.rate_c_per_min, smoothed, equal_nan=True)
    assert np.isfinite(live).sum() > 60
    assert np.array_equal(under_way.roast.rate_c_per_min, live, equal_nan=True)


def test_moment_that_is_missing_is_reported(bench, codes):
    """A batch without the alignment's moment is aligned at charge, and the page says so."""
    code = bench.open(8000, coffee="Alder washed")
    bench.say(bench.entry("moment", 8030, batch=code, moment="charge"))
    bench.clock.turn_to(8040)
    bench.push((8035, "bean_probe", 190.0))
    said = text_of(bench.client.get(f"/compare?batches={codes[0]},{code}&align=first_crack").text)
    assert f"{code} has no first crack marked, so it cannot be aligned there. Aligned at charge instead." in said
    assert "still roasting" in said


def test_empty_page_explains_itself(bench):
    """Without a batch the page explains its purpose and the first step."""
    page = bench.client.get("/compare")
    assert page.status_code == 200
    assert "The first is the guide" in page.text
    assert "No batch has been charged yet" in page.text


def test_same_coffee_is_offered_first(bench, codes):
    """Batches of the guide's coffee come first, those on the page are omitted, and a search narrows the list."""
    later = bench.roast(200, start_s=6000, coffee="Alder washed")
    last = bench.roast(200, start_s=6300, coffee="Low Tide decaf")
    offered = re.findall(
        r'type="checkbox" name="batches" value="([^"]+)"', bench.client.get(f"/compare?batches={codes[0]}").text
    )
    assert offered == [later, codes[1], last, codes[2]]
    found = bench.client.get(f"/compare/offered?batches={codes[0]}&q=Low").text
    assert re.findall(r'value="([^"]+)"', found) == [last]
    assert "No other batch has" in bench.client.get("/compare/offered?q=nowhere").text


def test_batches_list_leads_to_the_choice(bench, codes):
    """It links to the choice with the same search, so that it works without a script."""
    assert 'href="/compare?q=Alder"' in bench.client.get("/batches?q=Alder").text
    assert text_of(bench.client.get("/compare?q=Alder").text).count("Alder washed") >= 2


def test_page_in_fahrenheit_converts_differences_without_an_offset(bench, codes):
    """In °F a distance and a difference are 1.8 times as large, and weights are in pounds."""
    bench.services.settings.change({"units_temp": "F", "units_mass": "lb"})
    said = text_of(bench.client.get(f"/compare?batches={codes[0]},{codes[1]}").text)
    assert "Charge weight 0.88 lb less" in said
    assert "°C" not in said
    assert bench.client.get(f"/compare/figure.json?batches={codes[0]},{codes[1]}").status_code == 200


def test_names_are_shown_as_text(bench, codes):
    """HTML in a coffee's name or in an address is shown, not executed."""
    page = bench.client.get("/compare", query_string={"batches": f"{codes[2]},{NASTY}", "q": NASTY, "control": NASTY})
    assert "<script>alert" not in page.text
    assert "&lt;script&gt;alert" in page.text


def test_tables_have_headers_and_fields_labels(bench, codes):
    """Every row and column of the tables has a header, every field a label, every heading its level."""
    page = bench.client.get(f"/compare?batches={codes[0]},{codes[1]}").text
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", page, re.DOTALL)
    assert rows
    assert all('scope="row' in row or 'scope="col"' in row for row in rows)
    assert all(f'for="{name}"' in page for name in re.findall(r'<input id="([^"]+)"', page))
    levels = [int(level) for level in re.findall(r"<h([1-6])", page)]
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_differences_read_with_their_sign():
    """A plus, a true minus, and no sign for zero; °F and pounds by their factor alone."""
    assert signed(27.6, 0, "s") == f"+28{HARD_SPACE}s"
    assert by_seconds(-0.4) == f"0{HARD_SPACE}s"
    assert by_seconds(-12) == f"−12{HARD_SPACE}s"
    assert by_temp(5.0, Units("F")) == f"+9.0{HARD_SPACE}°F"
    assert by_rate(-1.0, Units("F")) == f"−1.8{HARD_SPACE}°F/min"
    assert by_mass(-453.59237, Units(mass="lb")) == f"−1.00{HARD_SPACE}lb"
