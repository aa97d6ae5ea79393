"""Practice works like a real roast, is marked everywhere, and is in no list, stock or total unless requested."""

import pytest

from roastlog.errors import SheetError
from tests.conftest import Bench
from tests.web.test_pages import text_of


@pytest.fixture
def practised(bench: Bench) -> str:
    """A batch roasted on the practice machine, with a real lot; returns its code."""
    bench.services.machines.add_practice()

    def entry(kind: str, at_s: float, **body: object) -> dict[str, object]:
        return bench.entry(kind, at_s, **body) | {"machine": "practice"}

    opened = bench.say(entry("opened", 0, lot="HU-7", coffee="Alder washed", green_g=4000))[0]
    assert (opened["status"], opened.get("notice")) == ("stored", None)
    code = opened["batch"]
    for moment, at_s in (("charge", 10), ("yellow", 250), ("first_crack", 500), ("drop", 600)):
        bench.clock.turn_to(at_s)
        bench.say(entry("moment", at_s, moment=moment) | {"batch": code})
    return code


def test_practice_takes_no_stock(bench: Bench, practised: str):
    """The lot's stock is unchanged, in the list and on its page, and no batch reports a shortage."""
    assert bench.services.lots.get("HU-7").left_g == 20_000
    assert [lot.left_g for lot in bench.services.lots.all()] == [20_000]
    notice = bench.say(bench.entry("opened", 700, lot="HU-7", green_g=18_000))[0].get("notice")
    assert notice is None
    assert bench.services.lots.get("HU-7").left_g == 2_000


def test_practice_is_in_no_list_unless_asked_for(bench: Bench, practised: str):
    """Pages, the API and Today list practice only on request or by its machine."""
    get = bench.client.get
    for path in ("/batches", "/batches/found?q=Alder"):
        assert practised not in get(path).text, path
    today = bench.services.today.overview()
    assert (today.recent, today.unweighed.items) == ([], [])
    assert "Practice drum PRACTICE" in text_of(get("/").text)
    assert get("/api/batches").get_json()["total"] == 0
    assert get("/api/batches?practice=1").get_json()["total"] == 1
    assert get("/api/batches?machine=practice").get_json()["total"] == 1
    assert "Show practice too" in get("/batches").text
    asked = text_of(get("/batches?practice=1").text)
    assert practised in asked
    assert "Alder washed PRACTICE" in asked


def test_practice_does_not_affect_the_usual_loss(bench: Bench, practised: str):
    """Its roast losses do not affect the usual band of the coffee."""
    weighed = bench.entry("weighed", 700, batch=practised, roasted_g=3400) | {"machine": "practice"}
    assert bench.say(weighed)[0]["status"] == "stored"
    assert bench.services.batches.losses("Alder washed") == []


@pytest.mark.parametrize(
    "path",
    [
        "/machines/{machine}",
        "/machines/{machine}/setup",
        "/batches/{code}",
        "/batches/{code}/label",
        "/r/{token}",
    ],
    ids=["live", "setup", "record", "label", "bag"],
)
def test_practice_is_marked(bench: Bench, practised: str, path: str):
    """The live page, the record, the label and the bag page mark it; a real batch has no mark."""
    real = bench.roast(30, start_s=1000, coffee="Night Ferry")
    for code, machine in ((practised, "practice"), (real, "drum-4")):
        token = bench.services.batches.summary(code).token
        page = bench.client.get(path.format(code=code, machine=machine, token=token)).text
        assert ("PRACTICE" in page) == (code == practised)


def test_practice_cannot_be_made_real(bench: Bench, practised: str):
    """Practice batches would appear in records and stock, and real ones would disappear from them."""
    form = {"kind": "http", "name": "Bean probe", "role": "bean_probe"}
    answer = bench.client.post("/machines/practice/channels/bean_probe", data=form)
    assert answer.status_code == 422
    assert "cannot change" in answer.text
    assert bench.services.machines.get("practice").practice
    bench.roast(30, start_s=1000)
    sheet = bench.services.machines.sheet("drum-4").replace("http = {}", "simulated = {}")
    with pytest.raises(SheetError, match="they are real"):
        bench.services.machines.add(sheet)
