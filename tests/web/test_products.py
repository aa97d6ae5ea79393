"""Products: composed by a form, chosen at the start of a batch, and read by the API."""

from uuid import uuid4

import pytest

from roastlog.services import LotRow
from tests.conftest import Bench


@pytest.fixture
def lots(bench: Bench) -> None:
    """A second and a third lot beside HU-7; the third has nothing left."""
    bench.services.lots.keep(LotRow("SI-2", "Heather Hill", bought_g=10_000))
    bench.services.lots.keep(LotRow("ET-4", "Night Ferry", bought_g=0))


def compose(bench: Bench, **typed: str) -> tuple[int, str]:
    """Send the form of a new product; the status, and the address or the page that follows."""
    answer = bench.client.post("/products/new", data={"id": str(uuid4()), "blended": "roasted", **typed})
    return answer.status_code, answer.headers.get("Location", answer.text)


BLEND = {"name": "Low Tide", "part0": "lot HU-7", "share0": "60", "part1": "lot SI-2", "blended": "green"}


def test_an_empty_share_has_the_rest(bench: Bench, lots: None):
    """60 % of one lot leaves 40 % for the other; the page shows both, and the form again what was typed."""
    assert compose(bench, **BLEND) == (303, "/products/low-tide")
    facts = bench.services.products.find("low-tide").facts
    assert [round(part.share, 6) for part in facts.parts] == [0.6, 0.4]
    page = bench.client.get("/products/low-tide").text
    assert "Blended before the roast" in page
    assert 'value="60"' in bench.client.get("/products/low-tide/edit").text
    assert compose(bench, **BLEND) == (303, "/products/low-tide-2")


BAD = {
    "not 100 %": ({"share1": "30"}, "add up to 90 %, not 100 %"),
    "nothing left": ({"share0": "100"}, "leaves nothing for the empty one"),
    "no name": ({"name": ""}, "A product needs a name."),
    "no part": ({"part0": "", "part1": "", "share0": ""}, "Choose at least one lot or product."),
    "share of nothing": ({"part1": "", "share1": "40"}, "Choose the lot or product of this share."),
    "unknown lot": ({"part1": "lot XX-1"}, "There is no lot XX-1."),
    "losses": ({"loss_low": "16", "loss_high": "14"}, "must not be below the lowest"),
    "kilograms as grams": ({"bag_g": "0.25"}, "in grams, or kg after the number"),
    "gtin": ({"gtin": "12345"}, "A GTIN has 8, 12, 13 or 14 digits."),
    "days of nothing": ({"days0": "90"}, "Name the packaging"),
    "days": ({"packaging0": "valve bag", "days0": "0"}, "a whole number from 1 to 3650"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_told_and_nothing_is_lost(bench: Bench, lots: None, case: str):
    """A sentence for each, and the purpose that was typed is still there."""
    typed, sentence = BAD[case]
    status, page = compose(bench, **(BLEND | {"intent": "cold brew"} | typed))
    assert (status, sentence in page, 'value="cold brew"' in page) == (422, True, True)
    assert bench.services.products.all() == []


def test_a_product_fills_the_start_form(bench: Bench, lots: None):
    """Coffee, green parts, purpose and plan of a green blend; the batch is of that product and takes both lots."""
    compose(bench, **BLEND, intent="espresso", ratio="18")
    page = bench.client.get("/machines/drum-4/start?product=low-tide").text
    assert "60" in page
    data = {"product": "low-tide", "parts": "0.6 HU-7|0.4 SI-2", "coffee": "Low Tide", "green": "4", "ratio": "18"}
    assert bench.client.post("/machines/drum-4/start", data=data | {"id": str(uuid4())}).status_code == 303
    batch = bench.services.batches.page().items[0]
    assert (batch.product, batch.coffee) == ("low-tide", "Low Tide")
    assert [bench.services.lots.get(code).left_g for code in ("HU-7", "SI-2")] == [20_000 - 2400, 10_000 - 1600]
    assert bench.client.get(f"/batches/{batch.code}/names").text.count('value="0.6 HU-7|0.4 SI-2"') == 1


def test_a_lot_stands_in_for_one_that_ran_out(bench: Bench, lots: None):
    """The start form chooses it and says so; without one it says that, and keeps the lot."""
    compose(bench, name="Ferry", part0="lot ET-4", instead0="SI-2")
    page = bench.client.get("/machines/drum-4/start?product=ferry").text
    assert "Lot ET-4 is used up: SI-2 stands in for it." in page
    assert '<option value="SI-2" selected>' in page
    compose(bench, name="Bare", part0="lot ET-4")
    assert "no other lot is named for it" in bench.client.get("/machines/drum-4/start?product=bare").text
    assert bench.client.get("/machines/drum-4/start?product=none").status_code == 404


def test_parts_blended_after_the_roast_are_roasted_apart(bench: Bench, lots: None):
    """The start form offers each of them."""
    compose(bench, **(BLEND | {"blended": "roasted"}))
    assert [one.query for one in bench.services.products.roastable()] == ["low-tide~0", "low-tide~1"]
    assert bench.services.products.filled("low-tide~1").facts.lot == "SI-2"


def test_a_product_is_not_made_of_itself(bench: Bench, lots: None):
    """Neither directly nor through another one."""
    compose(bench, name="One", part0="lot HU-7")
    compose(bench, name="Two", part0="product one")
    answer = bench.client.post("/products/one/edit", data={"id": str(uuid4()), "name": "One", "part0": "product two"})
    assert (answer.status_code, "cannot be made of itself" in answer.text) == (422, True)


def test_the_packaging_gives_the_date_and_its_reason_stays(bench: Bench, lots: None):
    """Each packaging has its days; a pack keeps the rule with its reason when the product changes later."""
    typed = {
        "packaging0": "valve bag",
        "days0": "120",
        "why0": "house test of 2025",
        "packaging1": "tin",
        "days1": "365",
    }
    compose(bench, name="Alder", part0="lot HU-7", bag_g="250", **typed)
    bench.clock.turn_to(800)
    code = bench.open(0, lot="HU-7", green_g=4000)
    bench.say(
        bench.entry("moment", 10, batch=code, moment="charge"), bench.entry("moment", 600, batch=code, moment="drop")
    )
    bench.say(bench.entry("weighed", 700, batch=code, roasted_g=3400))
    assert 'value="250"' in bench.client.get(f"/packs/new?batch={code}").text
    dates = []
    for packaging in ("", "tin"):
        data = {"id": str(uuid4()), "batch": code, "product": "alder", "packaging": packaging, "count": "2"}
        answer = bench.client.post("/packs/new", data=data)
        assert answer.status_code == 303, answer.text
        facts = bench.services.packing.record(answer.headers["Location"].removeprefix("/packs/")).pack.facts
        dates.append((facts.packaging, facts.best_before_rule))
    assert dates == [("valve bag", "120 days in valve bag: house test of 2025"), ("tin", "365 days in tin")]


def test_programs_read_products_and_packs(bench: Bench, lots: None):
    """Lists are paged and filtered; one has its facts and entries; an unknown one is a 404."""
    compose(bench, name="Alder", part0="lot HU-7")
    compose(bench, **BLEND)
    get = bench.client.get
    assert [row["code"] for row in get("/api/products?q=tide").json["products"]] == ["low-tide"]
    assert get("/api/products?size=1&page=2").json | {"products": []} == {
        "products": [],
        "page": 2,
        "pages": 2,
        "total": 2,
    }
    assert get("/api/products/alder").json["entries"][0]["kind"] == "composed"
    bench.clock.turn_to(800)
    code = bench.open(0, coffee="Alder washed", green_g=4000)
    bench.say(bench.entry("weighed", 700, batch=code, roasted_g=3400))
    data = {"id": str(uuid4()), "batch": code, "bag": "250", "weights": "252 254", "product": "alder"}
    bench.client.post("/packs/new", data=data)
    listed = get("/api/packs?product=alder").json
    assert (listed["total"], listed["packs"][0]["bags_left"]) == (1, 13)
    assert get("/api/packs?product=other").json["total"] == 0
    one = get(f"/api/packs/{code}-1").json
    assert (one["give_away_g"], one["short"], one["facts"]["count"]) == (3.0, 0.0, 13)
    for path in ("/api/packs/26332-01C-9", "/api/products/none", "/api/packs/x"):
        assert get(path).status_code == 404
    bench.client.post("/products/alder/close", data={"id": str(uuid4())})
    assert [row["code"] for row in get("/api/products?closed=1").json["products"]] == ["alder"]
