"""The start form begins with the facts of an earlier batch of its machine."""

import re
from datetime import date
from html import unescape

import pytest

from roastlog.services import LotRow
from roastlog.trace.codes import batch_code
from tests.conftest import SHEET, Bench

PATH = "/machines/drum-4/start"
FACTS = {"lot": "HU-7", "coffee": "Alder washed", "green_g": 3850.0, "intent": "filter"}


def values(page: str) -> dict[str, str]:
    """The fields of the form as a browser would send them, and none that are empty."""
    found = dict(re.findall(r'<input id="(\w+)" name="\1" value="([^"]+)"', page))
    found |= dict(re.findall(r'<input type="radio" name="(intent)" value="([^"]+)" checked', page))
    for name, options in re.findall(r'<select id="(\w+)".*?>(.*?)</select>', page, re.DOTALL):
        if chosen := re.search(r'<option value="([^"]+)"\s+selected', options):
            found[name] = chosen[1]
    return found | dict(re.findall(r'<input type="hidden" name="(id|told)" value="([^"]+)"', page))


def offered(page: str) -> list[tuple[str, str, bool]]:
    """Query, words and mark of each link in “Same as”."""
    row = re.search(r'<nav class="same-as".*?</nav>', page, re.DOTALL)
    links = re.findall(r'<a class="button" href="([^"]*)" (aria-current="true")?>(.*?)</a>', row[0] if row else "")
    return [(link, " ".join(unescape(re.sub("<[^>]+>", "", words)).split()), bool(mark)) for link, mark, words in links]


def test_the_first_batch_begins_with_an_empty_form(bench: Bench):
    """Without an earlier batch nothing is filled in, and nothing is offered."""
    page = bench.client.get(PATH).text
    assert values(page).keys() == {"id"}
    assert offered(page) == []


def test_the_form_has_the_facts_of_the_last_batch(bench: Bench):
    """Lot, weight to the gram, purpose, plan and guide are there; the posted form opens a batch with the same facts."""
    guide = bench.roast(30, **FACTS)
    plan = {"development_s": 95.0}
    bench.roast(30, start_s=1000, **FACTS, plan=plan, guide=guide)
    page = bench.client.get(PATH).text
    typed = values(page)
    assert typed | {"id": ""} == {
        "id": "", "lot": "HU-7", "green": "3.85", "intent": "filter", "development": "1:35", "guide": guide,
    }  # fmt: skip
    assert bench.client.post(PATH, data=typed | {"green_unit": "kg"}).status_code == 303
    newest = bench.services.batches.page().items[0]
    facts = bench.services.batches.folded(newest.code).facts
    assert facts.model_dump(exclude_none=True) == {**FACTS, "plan": plan, "guide": guide}


def test_a_changed_lot_brings_its_own_name(bench: Bench):
    """A coffee's name that was its lot's is not prefilled; a name of its own is."""
    bench.services.lots.keep(LotRow("LN-2", "Linden natural", bought_g=9000))
    bench.roast(30, **FACTS)
    data = values(bench.client.get(PATH).text) | {"lot": "LN-2", "green_unit": "kg"}
    assert bench.client.post(PATH, data=data).status_code == 303
    assert bench.services.batches.page().items[0].coffee == "Linden natural"
    bench.roast(30, start_s=1000, **{**FACTS, "coffee": "House espresso"})
    assert values(bench.client.get(PATH).text)["coffee"] == "House espresso"


def test_same_as_offers_five_distinct_batches_and_none(bench: Bench):
    """Newest first, one for each coffee, weight and purpose; the one in the form is marked, and Empty fills in none."""
    facts = [{**FACTS, "green_g": 1000.0 + 100 * (number % 7)} for number in range(9)]
    codes = [bench.open(at_s, **one) for at_s, one in enumerate(facts)]
    bench.open(20)  # has nothing that could be copied
    page = bench.client.get(PATH).text
    assert [link for link, _, _ in offered(page)] == [*(f"?as={codes[n]}" for n in (8, 7, 6, 5, 4)), "?as="]
    assert offered(page)[0] == (f"?as={codes[8]}", "Alder washed 1 100 g for filter", True)
    other = bench.client.get(f"{PATH}?as={codes[5]}").text
    assert [mark for _, _, mark in offered(other)] == [False, False, False, True, False, False]
    assert values(other)["green"] == "1.5"
    empty = bench.client.get(f"{PATH}?as=").text
    assert values(empty).keys() == {"id"}
    assert offered(empty)[-1] == ("?as=", "Empty", True)


def test_only_batches_of_this_machine_count(bench: Bench):
    """Neither a discarded batch nor one of another machine fills the form; a practice machine repeats its own."""
    bench.services.machines.keep_sheet(SHEET.replace("drum-4", "drum-1"))
    bench.services.machines.add_practice()
    code = bench.open(0, **FACTS)
    for machine, coffee in (("drum-1", "Birch"), ("practice", "Practice beans")):
        bench.say(bench.entry("opened", 10, coffee=coffee) | {"machine": machine})
    assert values(bench.client.get(PATH).text)["lot"] == "HU-7"
    assert values(bench.client.get("/machines/practice/start").text)["coffee"] == "Practice beans"
    opened = bench.client.get(f"/api/batches/{code}").get_json()["entries"][0]["id"]
    bench.say(bench.entry("undo", 20, batch=code, entry=opened))
    page = bench.client.get(PATH).text
    assert values(page).keys() == {"id"}
    assert offered(page) == []


@pytest.mark.parametrize("asked", ["unknown", "mistyped", "discarded", "of another machine", "<script>"])
def test_a_batch_that_cannot_be_copied_is_refused_in_words(bench: Bench, asked: str):
    """An unknown or mistyped code, a discarded batch and another machine's get a page that says so."""
    bench.services.machines.keep_sheet(SHEET.replace("drum-4", "drum-1"))
    code, discarded = bench.open(0, **FACTS), bench.open(5, **FACTS)
    opened = bench.client.get(f"/api/batches/{discarded}").get_json()["entries"][0]["id"]
    bench.say(bench.entry("undo", 20, batch=discarded, entry=opened))
    other = bench.say(bench.entry("opened", 10, coffee="Birch") | {"machine": "drum-1"})[0]["batch"]
    refused = {
        "unknown": (batch_code(date(2020, 1, 1), 7), "no batch here has it"),
        "mistyped": (code[:-1] + ("A" if code[-1] != "A" else "B"), "mistyped"),
        "discarded": (discarded, "was discarded or is of another machine"),
        "of another machine": (other, "was discarded or is of another machine"),
        "<script>": ("<script>", "batch code"),
    }
    text, sentence = refused[asked]
    answer = bench.client.get(PATH, query_string={"as": text})
    assert answer.status_code == 404
    assert sentence in unescape(answer.text)
    assert "<script>alert" not in answer.text
    assert bench.client.get(PATH, query_string={"as": code.lower()}).status_code == 200


def test_a_field_in_error_keeps_all_that_was_typed(bench: Bench):
    """The form that comes back has the typed values and marks no batch, even if that batch was discarded meanwhile."""
    code = bench.open(0, **FACTS)
    opened = bench.client.get(f"/api/batches/{code}").get_json()["entries"][0]["id"]
    bench.say(bench.entry("undo", 20, batch=code, entry=opened))
    answer = bench.client.post(f"{PATH}?as={code}", data={"coffee": "Birch", "green": "much"})
    assert answer.status_code == 422
    assert values(answer.text)["coffee"] == "Birch"


def test_a_lot_that_has_run_out_comes_with_its_warning(bench: Bench):
    """The prefilled form says what is left, and its button starts anyway at the first tap."""
    for at_s in range(6):
        bench.open(at_s, **FACTS)
    page = bench.client.get(PATH).text
    assert "Lot HU-7 has " in page
    assert "Start anyway" in page
    assert bench.client.post(PATH, data=values(page) | {"green_unit": "kg"}).status_code == 303


def test_an_older_guide_stays_chosen(bench: Bench):
    """A guide that is not among the last fifty batches is still in the form, and in the form of the names."""
    guide = bench.roast(30, **FACTS)
    for number in range(51):
        code = bench.open(100 + number, coffee="Birch", guide=guide)
        bench.say(
            bench.entry("moment", 101 + number, batch=code, moment="charge"),
            bench.entry("moment", 200 + number, batch=code, moment="drop"),
        )
    for path in (PATH, f"/batches/{code}/names"):
        assert values(bench.client.get(path).text)["guide"] == guide
