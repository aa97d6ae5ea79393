"""The pages, requested like by a browser, over real services on a fresh data folder."""

import io
import re
import uuid
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from html import unescape
from pathlib import Path
from urllib.parse import quote

import pytest
from flask import Flask
from flask.testing import FlaskClient

from roastlog.clock import Clock
from roastlog.label.stock import SIZES
from roastlog.services import LotRow, Services, open_services
from roastlog.trace.codes import batch_code
from roastlog.web.app import create_app
from roastlog.web.http import assets
from roastlog.web.http.formatting import HARD_SPACE, THIN_SPACE, Units, kilos, mass, number, rate, temp
from roastlog.web.http.forms import Form
from roastlog.web.http.problems import WORDS
from tests.conftest import SHEET

NASTY = "<script>alert(1)</script>\"'&"
LOT = LotRow("G-114", "Alder washed", origin="Huila", process="washed", bought_g=60_000.0, cup="stone fruit, honey")


@pytest.fixture
def services(tmp_path: Path, clock: Clock) -> Iterator[Services]:
    """Services on an empty folder, not recording."""
    made = open_services(tmp_path, clock)
    yield made
    made.close()


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    """A browser on this computer."""
    return app.test_client()


@pytest.fixture
def own_app(services: Services) -> Flask:
    """An app to which a test adds routes."""
    return create_app(services)


@pytest.fixture
def say(services: Services) -> Callable[..., str]:
    """Store one entry; returns the batch's code."""

    def keep(kind: str, body: dict[str, object], batch: str | None = None, ago_s: float = 0.0) -> str:
        raw = {
            "id": str(uuid.uuid4()),
            "machine": services.machines.all()[0].id,
            "kind": kind,
            "at_ms": services.clock.now_ms() - round(ago_s * 1000),
            "by": {"person": "Ines"},
            "body": body,
        }
        result = services.journal.accept([raw if batch is None else raw | {"batch": batch}])[0]
        assert result.status == "stored", result.reason
        return str(result.batch)

    return keep


@pytest.fixture
def dropped(services: Services, say: Callable[..., str]) -> str:
    """A roasted batch that waits for its weight."""
    services.machines.add(SHEET)
    services.lots.keep(LOT)
    services.people.add("Ines Morel", "Ines")
    code = say("opened", {"lot": "G-114", "coffee": "Alder washed", "green_g": 4000.0, "intent": "filter"}, None, 700)
    for moment, ago_s in (("charge", 650), ("yellow", 360), ("first_crack", 130), ("drop", 50)):
        say("moment", {"moment": moment}, code, ago_s)
    return code


def text_of(page: str) -> str:
    """Text of a page, without tags."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_an_empty_folder_says_how_to_add_a_machine(client: FlaskClient):
    """The first page has all ways at once: the form, a sheet's file or text, and practice."""
    page = client.get("/").text
    assert all(f'name="{name}"' in page for name in ("name", "file", "text"))
    assert 'action="/machines"' in page
    assert 'action="/machines/practice"' in page


def test_practising_adds_a_machine_and_goes_to_it(client: FlaskClient, services: Services):
    """The button answers 303, and Today then offers to start."""
    answer = client.post("/machines/practice")
    machine = services.machines.all()[0].id
    assert (answer.status_code, answer.location) == (303, f"/machines/{machine}")
    assert f'href="/machines/{machine}/start"' in client.get("/").text


def test_a_sheet_can_be_exported_and_imported(client: FlaskClient, services: Services):
    """A machine's own sheet, sent back as a file or as text, is accepted."""
    services.machines.add(SHEET)
    sheet = client.get(f"/machines/{services.machines.all()[0].id}/sheet.toml")
    assert sheet.mimetype == "application/toml"
    renamed = sheet.text.replace(f'id = "{services.machines.all()[0].id}"', 'id = "second"', 1)
    answer = client.post("/machines", data={"file": (io.BytesIO(renamed.encode()), "second.toml")})
    assert (answer.status_code, answer.location) == (303, "/machines/second")
    assert client.post("/machines", data={"text": renamed}).status_code == 303
    assert len(services.machines.all()) == 2


@pytest.mark.parametrize("content", [b"id = 7", b"not toml at all [", b"\xff\xfe\x00", b""])
def test_a_sheet_with_a_mistake_is_refused_in_place(client: FlaskClient, services: Services, content: bytes):
    """The answer is 422 with a message beside the form; nothing was added."""
    answer = client.post("/machines", data={"file": (io.BytesIO(content), "a.toml")})
    assert answer.status_code == 422
    assert "Sheet not added." in text_of(answer.text)
    assert services.machines.all() == []


def test_a_batch_starts_with_nothing_filled_in(client: FlaskClient, services: Services):
    """An empty form starts a batch, and the same form sent twice opens one batch."""
    services.machines.add(SHEET)
    machine = services.machines.all()[0].id
    ident = re.search(r'name="id" value="([^"]+)"', client.get(f"/machines/{machine}/start").text)
    assert ident
    for _ in range(2):
        answer = client.post(f"/machines/{machine}/start", data={"id": ident[1]})
        assert (answer.status_code, answer.location) == (303, f"/machines/{machine}")
    assert services.batches.page().total == 1


def test_the_start_form_stores_its_fields(client: FlaskClient, services: Services):
    """Lot, weight with a comma, own intent, planned time and person are stored; the lot names the coffee."""
    services.machines.add(SHEET)
    services.lots.keep(LOT)
    machine = services.machines.all()[0].id
    data = {"lot": "G-114", "green": "3,5", "green_unit": "kg", "intent_words": "cold brew", "development": "1:20"}
    assert client.post(f"/machines/{machine}/start", data=data | {"person": "Ines"}).status_code == 303
    record = services.batches.record(services.batches.page().items[0].code)
    facts = record.batch.facts
    assert (facts.lot, facts.coffee, facts.green_g, facts.intent) == ("G-114", "Alder washed", 3500.0, "cold brew")
    assert facts.plan is not None
    assert facts.plan.development_s == 80.0
    assert record.batch.opened is not None
    assert record.batch.opened.by.person == "Ines"


def test_a_lot_with_too_little_says_so_and_may_still_be_started(client: FlaskClient, services: Services):
    """The first attempt shows the form with a notice; sending that form opens the batch."""
    services.machines.add(SHEET)
    services.lots.keep(replace(LOT, bought_g=2300.0))
    url = f"/machines/{services.machines.all()[0].id}/start"
    data = {"id": str(uuid.uuid4()), "lot": "G-114", "green": "4", "green_unit": "kg"}
    first = client.post(url, data=data)
    assert first.status_code == 422
    assert "Lot G-114 has 2.3\N{NO-BREAK SPACE}kg in stock" in first.text
    assert "Start anyway" in first.text
    assert client.get("/lots/short?lot=G-114&green=4&green_unit=kg").text.count("2.3") == 1
    assert client.get("/lots/short?lot=G-114&green=2&green_unit=kg").text.strip() == ""
    told = re.search(r'name="told" value="([^"]+)"', first.text)
    assert told
    assert client.post(url, data=data | {"told": told[1]}).status_code == 303
    assert services.batches.page().total == 1


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("green", "some", "Green weight must be a number, not “some”."),
        ("green", "-3", "more than 0"),
        ("green", "4000", "Green weight must be at most"),
        ("green", "4 stone", "Green weight must be in kg, g, lb or oz"),
        ("development", "1:99", "Development time must be a number"),
        ("ratio", "140", "Development ratio must be between 0 and 100"),
        ("coffee", "x" * 81, "Coffee must be at most 80 characters"),
    ],
)
def test_an_invalid_field_has_its_message(
    client: FlaskClient, services: Services, field: str, typed: str, sentence: str
):
    """A wrong field is answered by 422, keeps the typed value, and opens nothing."""
    services.machines.add(SHEET)
    answer = client.post(f"/machines/{services.machines.all()[0].id}/start", data={field: typed, "green_unit": "kg"})
    assert answer.status_code == 422
    assert sentence in text_of(answer.text)
    assert typed in answer.text
    assert services.batches.page().total == 0


def test_names_can_be_given_after_the_roast(client: FlaskClient, services: Services, dropped: str):
    """The form is prefilled; a changed field is an amend entry, an emptied one is cleared, the rest stays."""
    page = client.get(f"/batches/{dropped}/names").text
    assert 'value="Alder washed"' in page
    data = {"lot": "G-114", "coffee": "Alder, honey", "green": "4", "green_unit": "kg", "intent": ""}
    assert client.post(f"/batches/{dropped}/names", data=data).location == f"/batches/{dropped}"
    record = services.batches.record(dropped)
    assert (record.batch.facts.coffee, record.batch.facts.intent) == ("Alder, honey", None)
    assert record.batch.facts.green_g == 4000.0
    amend = record.batch.last("amend")
    assert amend is not None
    assert set(amend.body["body"]) == {"coffee", "intent"}


def test_the_next_thing_to_do_is_the_dark_button_of_a_record(client: FlaskClient, dropped: str):
    """Weighing until there is a weight, then the label."""
    dark = re.compile(r'class="button primary" href="/batches/[^"]+/(\w+)"')
    assert dark.findall(client.get(f"/batches/{dropped}").text) == ["weigh"]
    client.post(f"/batches/{dropped}/weigh", data={"roasted": "3432", "then": "keep"})
    assert dark.findall(client.get(f"/batches/{dropped}").text) == ["label"]


def test_a_batch_cools_for_an_hour_and_no_longer(client: FlaskClient, say: Callable[..., str], dropped: str):
    """The weigh page shows a timer after a recent drop; after an old one it shows the time of the drop."""
    old = say("opened", {}, ago_s=9000)
    say("moment", {"moment": "charge"}, old, ago_s=8400)
    say("moment", {"moment": "drop"}, old, ago_s=7800)
    assert "data-since-ms" in client.get(f"/batches/{dropped}/weigh").text
    page = client.get(f"/batches/{old}/weigh").text
    assert "data-since-ms" not in page
    assert "Dropped" in text_of(page)


def test_a_stranger_never_reads_for_both(client: FlaskClient, services: Services, say: Callable[..., str]):
    """A bag page and its record never show “for both”."""
    services.machines.add(SHEET)
    code = say("opened", {"intent": "both"})
    for page in (f"/r/{services.batches.summary(code).token}", f"/batches/{code}"):
        said = text_of(client.get(page).text)
        assert "for filter and espresso" in said
        assert "for both" not in said


def test_a_weight_is_kept_and_released_in_one_go(client: FlaskClient, services: Services, dropped: str):
    """The weigh-out stores weight, note and release, and leads to the label."""
    page = client.get(f"/batches/{dropped}/weigh").text
    assert "data-since-ms" in page
    data = {"roasted": "3 432", "removed": "12", "note": "clean", "then": "release", "id": str(uuid.uuid4())}
    for _ in range(2):
        answer = client.post(f"/batches/{dropped}/weigh", data=data)
        assert (answer.status_code, answer.location) == (303, f"/batches/{dropped}/label#print")
    batch = services.batches.record(dropped).batch
    assert (batch.state, batch.roasted_g) == ("released", 3432.0)
    assert batch.of("weighed")[0].body["removed_g"] == 12.0
    assert [len(batch.of(kind)) for kind in ("weighed", "note", "released")] == [1, 1, 1]


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"roasted": "0"}, "Roasted weight must be more than 0"),
        ({"roasted": ""}, "Roasted weight must be more than 0"),
        ({"roasted": "4100"}, "must be at most the green weight"),
        ({"roasted": "heavy"}, "Roasted weight must be a number"),
        ({"roasted": "3400", "removed": "3500"}, "Defects must be between 0"),
        ({"roasted": "3400", "removed": "-1"}, "Defects must be between 0"),
    ],
)
def test_weights_that_cannot_be_are_refused_in_place(
    client: FlaskClient, services: Services, dropped: str, typed: dict[str, str], sentence: str
):
    """422 with a message, the typed values remain, and nothing is stored."""
    answer = client.post(f"/batches/{dropped}/weigh", data=typed)
    assert answer.status_code == 422
    assert sentence in text_of(answer.text)
    assert f'value="{typed["roasted"]}"' in answer.text
    assert services.batches.record(dropped).batch.state == "cooling"


def test_a_loss_outside_the_usual_band_is_flagged(
    client: FlaskClient, services: Services, say: Callable[..., str], dropped: str
):
    """With five earlier batches at 14 to 14.4 % the weigh page draws the band and flags 20 %."""
    for tenth in range(5):
        code = say("opened", {"coffee": "Alder washed", "green_g": 4000.0})
        say("moment", {"moment": "charge"}, code, 5)
        say("moment", {"moment": "drop"}, code, 1)
        say("weighed", {"roasted_g": 4000 * (1 - 0.14 - tenth / 1000)}, code)
    assert "usual for this coffee" in text_of(client.get(f"/batches/{dropped}/weigh").text)
    client.post(f"/batches/{dropped}/weigh", data={"roasted": "3200", "then": "keep"})
    assert services.batches.record(dropped).batch.state == "weighed"
    assert "more than usual for this coffee" in text_of(client.get(f"/batches/{dropped}").text)
    assert 'class="flag" id="verdict" role="status" >' in client.get(f"/batches/{dropped}/weigh").text


def test_the_record_tells_all_of_a_batch(client: FlaskClient, say: Callable[..., str], dropped: str):
    """Moments, checks, aroma by phase, notes, the journal with undo, and the links."""
    say("trier", {"stage": "yellow", "words": ["bread"]}, dropped, 340)
    say("aroma", {"words": ["toast", "malt"]}, dropped, 300)
    say("crack", {"vigour": "steady"}, dropped, 120)
    say("note", {"text": "drum was warm"}, dropped)
    page = client.get(f"/batches/{dropped}").text
    said = text_of(page)
    for words in (
        "First crack 8:40",
        "Trier: yellow, bread",
        "browning 5:50 toast, malt",
        "drum was warm",
        "Drop 10:00",
    ):
        assert words in said
    for way in ("/api/batches/{}/curve.csv", "/batches/{}/label", "/batches/{}/weigh", "/batches/{}/figure.json"):
        assert way.format(dropped) in page


def test_the_figure_of_a_record_is_a_bokeh_item(client: FlaskClient, dropped: str):
    """The curve has its own address, which returns JSON that Bokeh can embed."""
    answer = client.get(f"/batches/{dropped}/figure.json")
    assert answer.is_json
    assert {"doc", "root_id"} <= set(answer.json["item"])


def test_undo_and_shift_from_the_record(client: FlaskClient, services: Services, dropped: str):
    """An undone drop reopens the batch and stays visible; a shift moves a moment; both are entries."""
    batch = services.batches.record(dropped).batch
    drop, crack = str(batch.moments["drop"].id), str(batch.moments["first_crack"].id)
    shift = {"entry": crack, "by_s": "-10", "id": str(uuid.uuid4())}
    for _ in range(2):
        assert client.post(f"/batches/{dropped}/shift", data=shift).status_code == 303
    assert services.batches.record(dropped).batch.moments_s["first_crack"] == pytest.approx(510.0, abs=0.1)
    assert client.post(f"/batches/{dropped}/undo", data={"entry": drop}).status_code == 303
    assert services.batches.record(dropped).batch.state == "roasting"
    assert "undone" in text_of(client.get(f"/batches/{dropped}").text)


@pytest.mark.parametrize(("form", "kind"), [({"entry": "x"}, "undo"), ({"entry": "x", "by_s": "0"}, "shift")])
def test_an_entry_that_cannot_be_is_answered_on_the_record(
    client: FlaskClient, dropped: str, form: dict[str, str], kind: str
):
    """422 with the reason on the record itself."""
    answer = client.post(f"/batches/{dropped}/{kind}", data=form)
    assert answer.status_code == 422
    assert 'class="notice refused"' in answer.text


def test_holding_a_batch_is_seen_on_its_bag(client: FlaskClient, services: Services, dropped: str):
    """The bag page of a held batch says so, without the reason."""
    data = {"decision": "hold", "reason": "smoky cup"}
    assert client.post(f"/batches/{dropped}/decision", data=data).status_code == 303
    page = client.get(f"/r/{services.batches.summary(dropped).token}").text
    assert "held this batch back" in page
    assert "smoky" not in page


def test_the_list_is_searched_by_code_and_coffee(client: FlaskClient, dropped: str):
    """Page and fragment find the same; an empty result is stated."""
    for query in (dropped[:6], "alder"):
        for url in ("/batches", "/batches/found"):
            assert f'href="/batches/{dropped}"' in client.get(url, query_string={"q": query}).text
    assert "No batch has “zzz”" in client.get("/batches/found?q=zzz").text
    assert client.get("/batches?page=-3").status_code == 200
    assert client.get("/batches?page=x").status_code == 200


def test_a_mistyped_code_is_distinguished_from_an_unknown_one(client: FlaskClient, dropped: str):
    """Each case has its own message, on Find and at the address itself."""
    wrong = dropped[:-1] + ("A" if dropped[-1] != "A" else "B")
    assert client.get("/find", query_string={"code": dropped.lower()}).location == f"/batches/{dropped}"
    assert client.get("/find", query_string={"code": "alder"}).location == "/batches?q=alder"
    titles = {}
    for code in (wrong, batch_code(date(2025, 1, 1), 1), "nonsense"):
        answer = client.get(f"/batches/{code}")
        assert answer.status_code == 404
        assert client.get("/find", query_string={"code": code}).status_code == 404
        titles[code] = re.search(r"<h1>(.*?)</h1>", answer.text)[1]
    assert list(titles.values()) == [
        "This code is mistyped",
        "No batch has this code",
        "This is not a batch code",
    ]


def test_the_label_page_shows_each_size_and_its_address(client: FlaskClient, services: Services, dropped: str):
    """Each size has a drawing, a PDF, and its own paper in the print style; address and reach are shown."""
    style = (assets.folder("static") / "label.css").read_text()
    for name in SIZES:
        page = client.get(f"/batches/{dropped}/label", query_string={"size": name}).text
        assert 'class="label-page"' in page
        assert f"label-{name}" in page
        assert f".label-{name} {{ page:" in style
    assert services.labels.address(dropped).url in page
    assert services.labels.address(dropped).reach in unescape(page)
    pdf = client.get(f"/batches/{dropped}/label.pdf?copies=2")
    assert pdf.mimetype == "application/pdf"
    assert pdf.data.startswith(b"%PDF")


@pytest.mark.parametrize("query", ["size=huge", "copies=0", "copies=many", "copies=73", "skip=7"])
def test_labels_that_cannot_be_printed_say_why(client: FlaskClient, dropped: str, query: str):
    """A wrong size or number is answered by 422 and a message, as page and as PDF."""
    assert client.get(f"/batches/{dropped}/label?{query}").status_code == 422
    assert client.get(f"/batches/{dropped}/label.pdf?{query}").status_code == 422


def test_the_bag_page_is_small_and_private(client: FlaskClient, services: Services, dropped: str):
    """No script, under 60 KB with its style; weights only if enabled, full names never."""
    client.post(f"/batches/{dropped}/weigh", data={"roasted": "3432", "person": "Ines Morel"})
    url = f"/r/{services.batches.summary(dropped).token}"
    page = client.get(url).text
    style = client.get(re.search(r'rel="stylesheet" href="([^"]+)"', page)[1]).data
    assert "<script" not in page
    assert len(page.encode()) + len(style) < 60_000
    for words in ("Alder washed", "for filter", "stone fruit, honey", "Huila", f"L{dropped}"):
        assert words in text_of(page)
    for private in ("3432", "3\N{NARROW NO-BREAK SPACE}432", "Ines", "Morel"):
        assert private not in page
    services.settings.change({"bag_shows_weights": True})
    assert f"3{THIN_SPACE}432{HARD_SPACE}g" in client.get(url).text


def test_only_the_roasterys_own_devices_see_the_way_to_the_record(
    client: FlaskClient, services: Services, dropped: str
):
    """A stranger sees the bag page without the link to the full record."""
    url, link = f"/r/{services.batches.summary(dropped).token}", f'href="/batches/{dropped}"'
    assert link in client.get(url).text
    stranger = client.get(url, environ_base={"REMOTE_ADDR": "192.168.1.77"})
    assert stranger.status_code == 200
    assert link not in stranger.text
    assert client.get(f"/batches/{dropped}", environ_base={"REMOTE_ADDR": "192.168.1.77"}).status_code == 401


def test_settings_are_kept_or_refused_as_a_whole(client: FlaskClient, services: Services):
    """A valid form is stored and shown; a wrong address stores nothing and is reported."""
    good = {"business": "Quillwater Roasters", "units_temp": "F", "units_mass": "lb", "best_before_days": "180"}
    assert client.post("/settings", data=good).location == "/settings?kept"
    kept = services.settings.current()
    assert (kept.business, kept.units_mass, kept.best_before_days) == ("Quillwater Roasters", "lb", 180)
    for wrong in ({"url_base": "javascript:alert(1)"}, {"best_before_days": "-4"}, {"units_temp": "K"}):
        answer = client.post("/settings", data=good | {"business": "Other"} | wrong)
        assert answer.status_code == 422
        assert "Not saved." in text_of(answer.text)
    assert services.settings.current() == kept


def test_lots_and_people_are_added(client: FlaskClient, services: Services):
    """A lot has its weight in the roastery's unit; a missing code, name or weight is reported in place."""
    data = {"code": "G-1", "coffee": "Night Ferry", "bought": "30", "origin": "Sidama"}
    assert client.post("/lots/new", data=data).status_code == 303
    assert services.lots.get("G-1").bought_g == 30_000.0
    for missing in ("code", "coffee", "bought"):
        answer = client.post("/lots/new", data=data | {"code": "G-2"} | {missing: ""})
        assert answer.status_code == 422
        assert 'aria-invalid="true"' in answer.text
    assert len(services.lots.all()) == 1
    assert client.post("/people", data={"name": "Wren Abara", "shown": ""}).status_code == 303
    assert client.post("/people", data={"name": " "}).status_code == 422
    assert [(person.name, person.shown) for person in services.people.all()] == [("Wren Abara", "Wren")]


def test_a_persons_units_are_applied_at_the_page(client: FlaskClient, services: Services, dropped: str):
    """With pounds set, the weigh-out accepts pounds and the record shows them."""
    services.settings.change({"units_mass": "lb", "units_temp": "F"})
    assert client.post(f"/batches/{dropped}/weigh", data={"roasted": "7.5"}).status_code == 303
    assert services.batches.record(dropped).batch.roasted_g == pytest.approx(3401.94, abs=0.01)  # 7.5 × 453.59237 g
    assert f"7.50{HARD_SPACE}lb" in client.get(f"/batches/{dropped}").text


def test_html_in_every_text_field_stays_text(client: FlaskClient, services: Services, say: Callable[..., str]):
    """Typed text is escaped on every page that shows it."""
    services.machines.add(SHEET)
    services.lots.keep(replace(LOT, code=NASTY, coffee=NASTY, origin=NASTY, process=NASTY, harvest=NASTY, cup=NASTY))
    services.people.add(NASTY, NASTY)
    services.settings.change({"business": NASTY, "bag_shows_people": True})
    machine = services.machines.all()[0].id
    data = {"lot": NASTY, "coffee": NASTY, "intent_words": NASTY, "person": NASTY, "green": "4", "green_unit": "kg"}
    assert client.post(f"/machines/{machine}/start", data=data).status_code == 303
    code = services.batches.page().items[0].code
    say("moment", {"moment": "charge"}, code, 300)
    say("trier", {"stage": "tan", "words": [NASTY]}, code, 200)
    say("aroma", {"words": [NASTY]}, code, 200)
    say("note", {"text": NASTY}, code)
    say("moment", {"moment": "drop"}, code)
    token = services.batches.summary(code).token
    urls = [
        "/",
        "/batches",
        "/lots",
        "/settings",
        f"/r/{token}",
        f"/machines/{machine}/start",
        "/find?code=no" + quote(NASTY),
    ]
    urls += [f"/batches/{code}{part}" for part in ("", "/names", "/weigh", "/label")]
    urls += ["/batches?q=" + quote(NASTY), f"/machines/{machine}/now", f"/lots/short?lot={quote(NASTY)}&green=99"]
    for url in urls:
        page = client.get(url).text
        assert "<script>alert" not in page, url
        assert "&lt;script&gt;alert" in page, url


def test_nothing_stands_inline(client: FlaskClient, services: Services, dropped: str):
    """No page has an inline script (data blocks are none) or an on… attribute: the policy would block them."""
    urls = ["/", "/batches", "/find", "/more", "/settings", "/lots", "/machines", "/nope"]
    urls += [f"/batches/{dropped}{part}" for part in ("", "/names", "/weigh", "/label")]
    for url in urls:
        page = client.get(url).text
        assert not re.search(r'<script(?![^>]*\b(?:src=|type="application/json"))', page), url
        assert not re.search(r"<[^>]+\son\w+=", page), url


def test_each_asset_of_a_page_is_there(client: FlaskClient, dropped: str):
    """Styles, scripts and icons named by the pages can be fetched."""
    found = set()
    for url in ("/", f"/batches/{dropped}", f"/batches/{dropped}/weigh", f"/batches/{dropped}/label"):
        found |= set(re.findall(r'(?:src|href)="(/(?:static|vendor)/[^"]+)"', client.get(url).text))
    assert len(found) >= 12
    for url in found:
        assert client.get(url).status_code == 200, url


@pytest.mark.parametrize("status", sorted(WORDS))
def test_each_error_page_has_cause_and_remedy(own_app: Flask, status: int):
    """Every error has its own page, and one sentence in JSON under /api/."""
    own_app.add_url_rule("/broken", "broken", lambda: own_app.aborter(status))
    own_app.add_url_rule("/api/broken", "api_broken", lambda: own_app.aborter(status))
    client = own_app.test_client()
    page = client.get("/broken")
    assert page.status_code == status
    if status == 401:  # the pairing page in place of an error
        assert 'name="code"' in page.text
    else:
        for words in ("What still works:", "What to do:", *WORDS[status]):
            assert words in text_of(page.text)
    assert client.get("/api/broken").json["error"] == WORDS[status][1]


def test_a_fault_of_ours_is_a_page_and_a_log_line(own_app: Flask, caplog: pytest.LogCaptureFixture):
    """An unexpected exception shows the 500 page without its text, which goes to the log."""

    def broken() -> str:
        raise ZeroDivisionError("inner words")

    own_app.add_url_rule("/fault", "fault", broken)
    answer = own_app.test_client().get("/fault")
    assert answer.status_code == 500
    assert "inner words" not in answer.text
    assert "inner words" in caplog.text


def test_a_form_over_one_megabyte_is_too_much(client: FlaskClient):
    """A sheet of more than 1 MB is answered by the 413 page."""
    answer = client.post("/machines", data={"text": "x" * 1_100_000})
    assert answer.status_code == 413
    assert "at most 1 MB" in text_of(answer.text)


@pytest.mark.parametrize(
    ("typed", "grams"),
    [
        ("4", 4000.0),
        ("4,2", 4200.0),
        ("4.2 kg", 4200.0),
        ("4200 g", 4200.0),
        ("1 lb", 453.59237),
        (".5", 500.0),
        ("", None),
    ],
)
def test_masses_are_read_as_typed(typed: str, grams: float | None):
    """Decimal comma or point; a unit after the number overrides the field's own."""
    form = Form({"green": typed})
    assert form.mass_g("green", "kg") == (None if grams is None else pytest.approx(grams))
    assert form.errors == {}


@pytest.mark.parametrize(("typed", "time_s"), [("1:20", 80.0), ("80", 80.0), ("80 s", 80.0), ("0:05", 5.0), ("", None)])
def test_times_are_read_as_typed(typed: str, time_s: float | None):
    """Minutes and seconds, or seconds."""
    assert Form({"development": typed}).duration_s("development") == time_s


@pytest.mark.parametrize(
    ("shown", "said"),
    [
        (number(3432.4), f"3{THIN_SPACE}432"),
        (number(-0.02, 1), "0.0"),
        (number(-4.26, 1), "−4.3"),
        (temp(100.0, Units("F")), f"212.0{HARD_SPACE}°F"),
        (rate(10.0, Units("F")), f"18.0{HARD_SPACE}°F/min"),  # a difference: without the offset of 32
        (mass(453.59237, Units("C", "lb")), f"1.00{HARD_SPACE}lb"),
        (kilos(4000.0, Units()), f"4.0{HARD_SPACE}kg"),
        (temp(None, Units()), "–"),
    ],
)
def test_values_read_in_the_persons_units(shown: str, said: str):
    """Conversions for display, with signs and non-breaking spaces."""
    assert shown == said
