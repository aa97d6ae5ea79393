"""The desk's frame: the rail with the running machines, the list with small curves, the form of a lot apart."""

import re

from tests.conftest import Bench


def test_every_desk_page_has_the_rail_and_marks_its_place(bench: Bench):
    """Exactly one word of the rail is marked, also on the pages below it; the live page has no rail."""
    code = bench.roast(60, coffee="Night Ferry")
    for path, word in (
        ("/", "Today"),
        ("/batches", "Records"),
        (f"/batches/{code}", "Records"),
        ("/lots/new", "Green"),
    ):
        rail = bench.client.get(path).text.partition('class="rail"')[2].partition("</nav>")[0]
        assert re.findall(r"aria-current=\"\w+\">([^<]+)<", rail) == [word], path
    assert 'class="rail"' not in bench.client.get("/machines/drum-4").text


def test_the_rail_shows_every_machine_as_it_is_now(bench: Bench):
    """Its foot has the name, the bean temperature and the time since charge, and leads to the live page."""
    code = bench.open(coffee="Night Ferry")
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    bench.clock.turn_to(30)
    bench.push((30, "bean_probe", 123.4))
    text = bench.client.get("/now").text
    assert 'href="/machines/drum-4"' in text
    assert "Four-kilo drum" in text
    assert "123.4" in text
    assert "0:30" in text


def test_a_row_of_the_list_has_a_small_curve(bench: Bench):
    """The curve of a batch is one line of an SVG with a name; a batch without readings has none and is no error."""
    code, empty = bench.roast(120, coffee="Night Ferry"), bench.open(2000, coffee="Heather Hill")
    assert f"/batches/{code}/small.svg" in bench.client.get("/batches").text
    answer = bench.client.get(f"/batches/{code}/small.svg")
    assert answer.mimetype == "image/svg+xml"
    assert f"<title>Bean curve of {code}</title>" in answer.text
    assert answer.text.count("<path") == 1
    assert "<path" not in bench.client.get(f"/batches/{empty}/small.svg").text
    assert bench.client.get("/batches/26332-99Z/small.svg").status_code == 404


def test_while_a_batch_roasts_its_machine_leads_today(bench: Bench):
    """One thing leads: the start of a batch, or while one roasts, its live page."""
    before = bench.client.get("/").text
    assert "now leads" not in before
    assert re.search(r'class="button\s+primary" href="/machines/drum-4/start"', before)
    code = bench.open(coffee="Night Ferry")
    bench.say(bench.entry("moment", 0, batch=code, moment="charge"))
    bench.push((0, "bean_probe", 200.0))
    during = bench.client.get("/").text
    assert "now leads" in during
    assert not re.search(r'class="button\s+primary" href="/machines/drum-4/start"', during)
