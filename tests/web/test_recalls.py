"""Recall and drill through the pages: what is concerned, who has it, who was reached, and to the gram."""

import csv
import io

import pytest

from roastlog.services import Role
from tests.conftest import Bench
from tests.web.test_trace import about
from tests.web.walk import browser


@pytest.fixture
def sold(bench: Bench) -> str:
    """Two batches of HU-7; the packs of the first are with two customers, one bag came back, one is missing."""
    bench.clock.turn_to(5000)
    code = bench.open(0, lot="HU-7", green_g=4000)
    other = bench.open(1000, lot="HU-7", green_g=4000)
    for batch, at_s in ((code, 10), (other, 1010)):
        bench.say(
            bench.entry("moment", at_s, batch=batch, moment="charge"),
            bench.entry("moment", at_s + 600, batch=batch, moment="drop"),
            bench.entry("weighed", at_s + 900, batch=batch, roasted_g=3400),
        )
    bench.say(
        about(f"pack {code}-1", "packed", 2000, parts=[{"batch": code, "grams": 3000}], bag_g=250, count=12),
        about("customer c1", "listed", 2100, name="Café Lindqvist", contact="+46 8 555 01"),
        about("customer c2", "listed", 2100, name="=Hotel Tern"),
        about(f"pack {code}-1", "sold", 2200, count=5, customer="c1"),
        about(f"pack {code}-1", "sold", 2300, count=4, customer="c2"),
        about(f"pack {code}-1", "returned", 2400, count=1, customer="c2"),
        about(f"pack {code}-1", "counted", 2500, bags=3),
    )
    return code


def started(bench: Bench, codes: str, **more: str) -> str:
    """Start a recall by its form; returns its address."""
    answer = bench.client.post("/recalls/new", data={"codes": codes, "cause": "Stones in the sack", **more})
    assert answer.status_code == 303, answer.text
    return answer.headers["Location"]


def test_a_recall_finds_each_bag_to_the_gram(bench: Bench, sold: str):
    """Of 12 bags 8 are out, 3 on the shelf and 1 is missing, and the page says which grams are not accounted for."""
    found = bench.services.recalls.detail(started(bench, "HU-7").rsplit("/", 1)[1])
    (pack,) = found.packs
    assert (pack.packed, pack.sold, pack.on_shelf, pack.missing_g) == (12, 8, 3, 250)
    assert (found.in_bags_g, found.accounted_g, found.bags_out) == (3000, 2750, 8)
    assert [(holder.name, holder.grams, dict(holder.bags)) for holder in found.holders] == [
        ("Café Lindqvist", 1250, {f"{sold}-1": 5}),
        ("=Hotel Tern", 750, {f"{sold}-1": 3}),
    ]
    assert found.loose == {("green", "HU-7"): 12_000, ("roasted", sold): 400, ("roasted", found.batches[1]): 3400}
    assert len(found.batches) == 2
    assert "green, lot HU-7" in bench.client.get(f"/recalls/{found.id}").text


def test_a_recall_of_a_batch_leaves_other_batches_alone(bench: Bench, sold: str):
    """Only its own pack and its own loose coffee are concerned."""
    found = bench.services.recalls.detail(started(bench, sold).rsplit("/", 1)[1])
    assert found.batches == [sold]
    assert list(found.loose) == [("roasted", sold)]


def test_a_pack_that_nobody_bought_is_found_too(bench: Bench, sold: str):
    """A recall of one says where its bags are, though nothing left it."""
    other = bench.services.recalls.detail(started(bench, "HU-7").rsplit("/", 1)[1]).batches[1]
    bench.say(about(f"pack {other}-1", "packed", 3000, parts=[{"batch": other, "grams": 1000}], bag_g=250, count=4))
    found = bench.services.recalls.detail(started(bench, f"{other}-1").rsplit("/", 1)[1])
    assert [(pack.code, pack.on_shelf, pack.missing_g) for pack in found.packs] == [(f"{other}-1", 4, 0)]
    assert (found.in_bags_g, found.accounted_g, found.bags_out) == (1000, 1000, 0)


def test_a_pack_of_two_batches_is_concerned_as_a_whole(bench: Bench, sold: str):
    """All its bags count, whichever of its batches is recalled; bags given away are accounted for."""
    other = bench.services.recalls.detail(started(bench, "HU-7").rsplit("/", 1)[1]).batches[1]
    parts = [{"batch": sold, "grams": 300}, {"batch": other, "grams": 700}]
    bench.say(
        about(f"pack {sold}-2", "packed", 3000, parts=parts, bag_g=250, count=4),
        about(f"pack {sold}-2", "taken", 3100, bags=1, why="gift"),
    )
    found = bench.services.recalls.detail(started(bench, other).rsplit("/", 1)[1])
    assert (found.in_bags_g, found.accounted_g) == (1000, 1000)
    assert [(pack.packed, pack.on_shelf) for pack in found.packs] == [(4, 3)]


def test_customers_are_ticked_off_and_the_recall_is_closed(bench: Bench, sold: str):
    """A tick can be undone; whoever is not reached stays first; a closed recall has its time and its note."""
    page = started(bench, sold)
    ident = page.rsplit("/", 1)[1]
    bench.client.post(f"{page}/reached", data={"customer": "c1", "how": "phone"})
    found = bench.services.recalls.detail(ident)
    assert [holder.customer for holder in found.holders] == ["c2", "c1"]
    assert found.reached == 1
    tick = found.holders[1].reached
    assert tick is not None
    bench.client.post(f"{page}/undo", data={"entry": str(tick.id)})
    assert bench.services.recalls.detail(ident).reached == 0
    bench.clock.turn_to(5090)
    assert f"Recall of {sold} is open" in bench.client.get("/").text
    bench.client.post(f"{page}/close", data={"note": "All bags collected"})
    text = bench.client.get(page).text
    assert "All bags collected" in text
    assert "Close the recall" not in text
    assert "is open" not in bench.client.get("/").text


def test_a_drill_cannot_be_mistaken(bench: Bench, sold: str):
    """Its page, its contacts and its notice say that it is one; a recall's do not."""
    drill = bench.client.post("/recalls/drill").headers["Location"]
    real = started(bench, sold)
    for page, says in ((drill, True), (real, False)):
        assert ("DRILL – this is not a real recall" in bench.client.get(page).text) == says
        contacts = bench.client.get(f"{page}/contacts.csv")
        assert ("DRILL" in contacts.text) == says
        assert contacts.headers["Content-Disposition"].startswith(
            f'attachment; filename="{"drill" if says else "recall"}-'
        )
    assert len(bench.client.get(f"{drill}/notice.pdf").data) > len(bench.client.get(f"{real}/notice.pdf").data) // 2
    assert bench.client.get(f"{real}/notice.pdf").data.startswith(b"%PDF")


def test_a_name_that_looks_like_a_formula_is_only_a_name(bench: Bench, sold: str):
    """A spreadsheet shows it and computes nothing."""
    text = bench.client.get(f"{started(bench, sold)}/contacts.csv").text
    rows = list(csv.reader(io.StringIO(text.lstrip("\ufeff"))))
    assert {row[1] for row in rows[1:]} == {"Café Lindqvist", "'=Hotel Tern"}
    assert rows[1][2] == "'+46 8 555 01"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"codes": "HU-404", "cause": "x"}, "has the code"),
        ({"codes": "", "cause": "x"}, "at least one"),
        ({"codes": "HU-7", "cause": ""}, "Cause is required"),
        ({"codes": "HU-7", "cause": "x" * 3000}, "at most"),
    ],
)
def test_a_recall_that_cannot_be_is_refused_in_words(bench: Bench, data: dict[str, str], words: str):
    """The typed text is still there, and no recall was started."""
    answer = bench.client.post("/recalls/new", data=data)
    assert answer.status_code == 422
    assert words in answer.text
    assert bench.services.recalls.all() == []


def test_a_drill_needs_bags_that_were_sold(bench: Bench):
    """Without one a sentence says so; a reminder comes half a year after the first sale or the last drill."""
    assert "none are yet" in bench.client.post("/recalls/drill").text
    assert not bench.services.recalls.drill_is_due()


def test_a_drill_is_due_half_a_year_after_the_last(bench: Bench, sold: str):
    """The first half year counts from the first sale; a finished drill starts it anew."""
    assert not bench.services.recalls.drill_is_due()
    bench.clock.turn_to(184 * 86_400)
    assert bench.services.recalls.drill_is_due()
    assert "No drill for half a year" in bench.client.get("/recalls").text
    assert "Practise a recall" in bench.client.get("/").text
    page = bench.client.post("/recalls/drill").headers["Location"]
    bench.client.post(f"{page}/close", data={})
    assert not bench.services.recalls.drill_is_due()


def test_who_only_roasts_starts_no_recall(bench: Bench, sold: str):
    """It takes the role that decides; to tick off a customer does not."""
    page = started(bench, sold)
    roaster = browser(bench, Role.OPERATE, name="Phone", person=None)
    assert roaster.post("/recalls/new", data={"codes": sold, "cause": "x"}).status_code == 403
    assert roaster.post(f"{page}/reached", data={"customer": "c1", "how": "mail"}).status_code == 303


def test_the_trace_page_says_where_coffee_is(bench: Bench, sold: str):
    """From the lot to the customers, with a drawing, and each place leads on."""
    text = bench.client.get("/trace/HU-7").text
    assert f'href="/trace/{sold}"' in text
    assert 'class="tree"' in text
    assert "Café Lindqvist" in text
    assert "=Hotel Tern" in text
    assert bench.client.get(f"/trace?code={sold.lower()}").headers["Location"].endswith(f"/trace/{sold}")
    assert bench.client.get("/trace?code=nothing").status_code == 404
