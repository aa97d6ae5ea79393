"""Pages on which coffee is packed, blended, counted and taken, and the stock that they show."""

import re
from uuid import uuid4

import pytest

from tests.conftest import Bench


def weighed(bench: Bench, start_s: int = 0, **facts: object) -> str:
    """A released batch of 3400 g; its code."""
    bench.clock.turn_to(start_s + 800)
    code = bench.open(start_s, **{"coffee": "Alder washed", "green_g": 4000, **facts})
    bench.say(bench.entry("weighed", start_s + 700, batch=code, roasted_g=3400))
    bench.say(bench.entry("released", start_s + 710, batch=code, decision="release"))
    return code


def pack(bench: Bench, code: str, **typed: str) -> tuple[int, str]:
    """Pack a batch by its form; the status, and the page that follows."""
    data = {"id": str(uuid4()), "batch": code, "bag": "250", **typed}
    answer = bench.client.post("/packs/new", data=data)
    if answer.status_code == 303:
        return 303, bench.client.get(answer.headers["Location"]).text
    return answer.status_code, answer.text


def test_a_batch_is_packed_into_as_many_bags_as_it_fills(bench: Bench):
    """The form says how many and what stays loose; the pack has the next code of its batch and its label."""
    code = weighed(bench)
    bench.services.settings.change({"best_before_days": 100})
    says = bench.client.get("/packs/says", query_string={"batch": code, "bag": "250"}).text
    assert re.search(r"13 × 250\sg", says)
    assert re.search(r"150\sg", says)
    status, page = pack(bench, code, packaging="valve bag")
    assert (status, f"{code}-1" in page, "valve bag" in page, "13 of 13" in page) == (303, True, True, True)
    label = bench.services.labels.pack_label(f"{code}-1")
    assert (label.code, label.net_weight) == (f"{code}-1", "250 g")
    assert bench.client.get(f"/packs/{code}-1/label").text.count("of 13<") >= 13
    assert bench.client.get(f"/packs/{code}-1/label.pdf").mimetype == "application/pdf"
    stock = bench.client.get("/stock").text
    assert all(text in stock for text in (f"{code}-1", "13 bags", f"/packs/new?batch={code}"))


def test_check_weights_show_what_is_given_away(bench: Bench):
    """Their mean, its share above the nominal weight, and the rule that they break, before and after saving."""
    code = weighed(bench)
    asked = {"batch": code, "bag": "250", "weights": "252 251,5 252.5"}
    says = bench.client.get("/packs/says", query_string=asked).text
    assert "Mean 252.0 g of 3 checked · +2.0 g (+0.8%) a bag" in says
    status, page = pack(bench, code, count="10", weights="252 251,5 252.5")
    assert (status, "+0.8%" in page) == (303, True)
    assert bench.services.packing.left_g(code) == 3400 - 2520
    assert "below the nominal" in bench.client.get("/packs/says", query_string=asked | {"weights": "248"}).text


BAD = {
    "count 0": ({"count": "0"}, "Number of bags must be a whole number from 1"),
    "no whole count": ({"count": "2.5"}, "Number of bags must be a whole number from 1"),
    "heavier than the batch": ({"bag": "5 kg"}, "is heavier than all of"),
    "kilograms as grams": ({"bag": "0.25"}, "A bag of 0.25 g?"),
    "no size": ({"bag": ""}, "Type the net weight of a bag."),
    "a weight in kilograms": ({"weights": "0.252"}, "no net weight of a bag of 250 g"),
    "no number": ({"weights": "heavy"}, "must be grams with spaces between"),
    "more left than there was": ({"left": "4000"}, "There were only"),
    "all left over": ({"left": "3400", "count": "1"}, "nothing was packed"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_told_and_what_was_typed_stays(bench: Bench, case: str):
    """Each gets a sentence; the packaging and the size that were typed are still there, and nothing is packed."""
    typed, sentence = BAD[case]
    code = weighed(bench)
    status, page = pack(bench, code, packaging="kraft bag", **typed)
    assert status == 422
    assert sentence in page.replace("\N{NO-BREAK SPACE}", " ")
    assert 'value="kraft bag"' in page
    assert f'value="{typed.get("bag", "250")}"' in page
    assert bench.services.packing.page().total == 0


def test_an_unknown_code_is_told_from_a_mistyped_one(bench: Bench):
    """Both as a page that is not found."""
    weighed(bench)
    for code, reason in (("26332-99Z", "mistyped"), ("26332-01C", "No batch or blend has")):
        answer = bench.client.get("/packs/new", query_string={"batch": code})
        assert (answer.status_code, reason in answer.text) == (404, True)
    assert bench.client.get("/packs/26332-01C-7").status_code == 404
    assert bench.client.get("/blends/26332-M01R").status_code == 404


def test_a_held_batch_is_packed_only_with_a_reason(bench: Bench):
    """The form is refused with the reason of the decision; once its bags are allowed, it is packed."""
    code = weighed(bench)
    bench.say(bench.entry("released", 750, batch=code, decision="hold", reason="Smoky."))
    assert "Smoky." in bench.client.get(f"/packs/new?batch={code}").text
    assert pack(bench, code)[0] == 422
    bench.clock.turn_to(900)
    allowed = {"batch": code, "held": code, "reason": " "}
    assert bench.client.post("/packs/allow", data=allowed).status_code == 422
    assert bench.client.post("/packs/allow", data=allowed | {"reason": "For us."}).status_code == 303
    status, page = pack(bench, code)
    assert (status, f"Batch {code} is held." in page) == (303, True)
    assert "held" in bench.client.get("/stock").text


def test_two_devices_are_both_told_of_more_than_there_was(bench: Bench):
    """The second in its answer; the first on the part of its page that refreshes, on Today and in the stock."""
    code = weighed(bench)
    first = pack(bench, code, count="10")[1]
    assert "was packed or taken than there was" not in first
    second = pack(bench, code, count="10")[1]
    assert "was packed or taken than there was" in second
    assert "was packed or taken than there was" in bench.client.get(f"/packs/{code}-1/left").text
    for path in ("/", "/stock", "/stock/list"):
        assert "more packed or taken than was weighed out: count it" in bench.client.get(path).text
    counted = {"about": f"batch {code}", "what": "counted", "amount": "0"}
    assert bench.client.post("/stock/say", data=counted).status_code == 303
    assert "To mend" not in bench.client.get("/").text


def test_the_same_form_sent_twice_packs_once(bench: Bench):
    """A phone that sends again gets the same pack."""
    code, ident = weighed(bench), str(uuid4())
    pages = [pack(bench, code, id=ident)[1] for _ in range(2)]
    assert f"{code}-2" not in pages[1]
    assert bench.services.packing.page().total == 1


def test_batches_are_blended_and_packed_like_one(bench: Bench):
    """The blend has a code of its own, its parts, a bag page and a label; too few parts are refused."""
    one, other = weighed(bench), weighed(bench, 1000, coffee="Heather Hill")
    refused = bench.client.post("/blends/new", data={f"of {one}": "600"})
    assert (refused.status_code, "at least two parts" in refused.text, 'value="600"' in refused.text) == (
        422,
        True,
        True,
    )
    answer = bench.client.post("/blends/new", data={f"of {one}": "600", f"of {other}": "0.4 kg"})
    blend = answer.headers["Location"].removeprefix("/blends/")
    page = bench.client.get(f"/blends/{blend}").text
    assert all(text in page for text in (one, other, "60.0", "40.0"))
    assert [bench.services.packing.left_g(code) for code in (one, other, blend)] == [2800, 3000, 1000]
    assert pack(bench, blend)[0] == 303
    label = bench.services.labels.pack_label(f"{blend}-1")
    bag = bench.client.get(label.url[label.url.index("/r/") :]).text
    assert all(text in bag for text in (f"L{blend}", "60 %", "Heather Hill"))
    entry = re.search(r'name="entry" value="([^"]+)"', page)[1]
    undone = bench.client.post(f"/blends/{blend}/undo", data={"entry": entry})
    assert (undone.status_code, f"{blend}-1" in undone.text) == (422, True)


def test_a_packing_is_undone_unless_its_bags_are_sold(bench: Bench):
    """The coffee is loose again; while bags are sold, the page says so."""
    code = weighed(bench)
    page = pack(bench, code, count="4")[1]
    entry = re.search(r'name="entry" value="([^"]+)"', page)[1]
    sold = {"id": str(uuid4()), "about": f"pack {code}-1", "kind": "sold", "at_ms": bench.clock.now_ms() - 1}
    result = bench.say(sold | {"body": {"count": 1, "customer": "c1"}})[0]
    refused = bench.client.post(f"/packs/{code}-1/undo", data={"entry": entry})
    assert (refused.status_code, "1 bag of this pack is sold" in refused.text) == (422, True)
    bench.client.post(f"/packs/{code}-1/undo", data={"entry": result["id"]})
    assert bench.client.post(f"/packs/{code}-1/undo", data={"entry": entry}).status_code == 303
    assert bench.services.packing.left_g(code) == 3400


def test_samples_waste_and_gifts_leave_the_stock(bench: Bench):
    """Loose in grams, packs in bags; half a bag is refused."""
    code = weighed(bench)
    pack(bench, code, count="4")
    for about, amount, what in ((f"batch {code}", "100", "sample"), (f"pack {code}-1", "1", "gift")):
        assert bench.client.post("/stock/say", data={"about": about, "amount": amount, "what": what}).status_code == 303
    assert bench.services.packing.left_g(code) == 2300
    assert bench.services.packing.record(f"{code}-1").row.bags_left == 3
    half = bench.client.post("/stock/say", data={"about": f"pack {code}-1", "amount": "0.5", "what": "waste"})
    assert half.status_code == 422
    assert bench.services.packing.became(code) == {f"{code}-1": 1000, "sample": 100}
