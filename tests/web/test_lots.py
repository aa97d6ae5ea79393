"""Green lots at the desk: received, checked, decided, counted, taken from, corrected and closed, each by one entry."""

import html
import io
import re
from uuid import uuid4

import pytest
from PIL import Image
from werkzeug.test import TestResponse

from roastlog.services import Role
from roastlog.store.books import LotRow
from tests.conftest import START_MS, Bench
from tests.web.walk import browser

DAY_MS = 86_400_000
NEW = {"code": "QW-9", "coffee": "Birch", "bought": "30", "arrived": "2026-11-20", "harvested": "2026-07"}


def text_of(answer: TestResponse) -> str:
    """The text of a page, without its tags."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.text)).replace("\u00a0", " ").split())


def receive(bench: Bench, **more: str) -> None:
    """A lot of 30 kg."""
    assert bench.client.post("/lots/new", data=NEW | more).status_code == 303


def hidden(answer: TestResponse) -> dict[str, str]:
    """The hidden fields of a form, as a browser would send them again."""
    return dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', answer.text))


def entries(bench: Bench, code: str = "QW-9") -> list[dict[str, object]]:
    """The entries of a lot."""
    return bench.client.get(f"/api/lots/{code}").get_json()["entries"]


def test_a_lot_is_received_checked_accepted_and_counted(bench: Bench):
    """Each step is one entry, and the page follows it."""
    receive(bench, currency="eur", price_per_kg="7,30", landed_per_kg="7.84", place="Shelf A", sacks="1")
    page = text_of(bench.client.get("/lots/QW-9"))
    assert "Not checked yet." in page
    assert "30.0 kg" in page
    assert "7.84 EUR" in page
    check = {"moisture_percent": "11,4", "water_activity": "0.61", "density_mass": "351", "volume_ml": "500"}
    check |= {"defect-broken": "11", "sample_g": "350", "quakers": "0"}
    assert bench.client.post("/lots/QW-9/check", data=check).status_code == 303
    page = text_of(bench.client.get("/lots/QW-9"))
    assert "All within the limits." in page
    assert "702 g/l" in page
    assert "351 g ÷ 500 ml × 1000" in page
    assert "SCA poster 2018" in page
    assert bench.client.post("/lots/QW-9/decide", data={"decision": "accept"}).status_code == 303
    shown = bench.client.post("/lots/QW-9/count", data={"counted": "29,8"})
    assert "The books say 30.00 kg; you counted 29.80 kg: 0.20 kg less." in text_of(shown)
    assert bench.services.lots.get("QW-9").left_g == 30_000
    assert bench.client.post("/lots/QW-9/count", data=hidden(shown)).status_code == 303
    lot = bench.services.lots.get("QW-9")
    assert (lot.left_g, lot.state, lot.moisture_percent, lot.density_g_l) == (29_800, "accepted", 11.4, 702.0)
    assert [entry["kind"] for entry in entries(bench)] == ["arrived", "checked", "decided", "counted"]


def test_a_count_is_saved_only_as_it_was_shown(bench: Bench):
    """A batch that was charged meanwhile changes the books, and the form shows the count again."""
    receive(bench)
    shown = bench.client.post("/lots/QW-9/count", data={"counted": "29.8"})
    bench.roast(30, lot="QW-9", green_g=4000)
    again = bench.client.post("/lots/QW-9/count", data=hidden(shown))
    assert again.status_code == 200
    assert "The books say 26.00 kg; you counted 29.80 kg: 3.80 kg more." in text_of(again)
    assert bench.client.post("/lots/QW-9/count", data=hidden(again)).status_code == 303
    assert bench.services.lots.get("QW-9").left_g == 29_800


def test_the_history_leads_to_the_batches(bench: Bench):
    """Each movement has its balance, and that of a batch a link to it."""
    code = bench.roast(30, start_s=60, lot="HU-7", green_g=4000)
    bench.clock.turn_to(120)
    bench.client.post("/lots/HU-7/take", data={"taken": "350", "why": "sample"})
    answer = bench.client.get("/lots/HU-7")
    assert f'<a href="/batches/{code}">' in answer.text
    said = text_of(answer)
    assert "−350 g 15 650 g" in said
    assert "−4 000 g 16 000 g" in said


@pytest.mark.parametrize(
    ("path", "data", "words"),
    [
        ("new", {**NEW, "code": "HU-7"}, "Lot HU-7 exists already: Alder washed."),
        ("new", {**NEW, "code": "new"}, "makes no address of its own"),
        ("new", {**NEW, "arrived": "2026-06-30"}, "before its harvest in 2026-07"),
        ("new", {**NEW, "arrived": "2027-06-30"}, "This day has not come yet"),
        ("new", {**NEW, "arrived": "last week"}, "is no date"),
        ("new", {**NEW, "harvested": "July"}, "is no month"),
        ("new", {**NEW, "price_per_kg": "7.3"}, "needs its currency"),
        ("new", {**NEW, "currency": "euro", "price_per_kg": "7.3"}, "Currency must be three letters"),
        ("new", {**NEW, "sacks": "1.5"}, "must be a whole number"),
        ("new", {**NEW, "bought": "60000"}, "Did you mean 60 kg?"),
        ("new", {**NEW, "bought": "0.06"}, "Did you mean 60 kg?"),
        ("HU-7/check", {"density_mass": "0", "volume_ml": "1000"}, "Density is more than 0"),
        ("HU-7/check", {"density_mass": "700"}, "Density is more than 0"),
        ("HU-7/check", {"water_activity": "55"}, "Water activity must be 0 to 1, not 55."),
        ("HU-7/check", {}, "at least one figure"),
        ("HU-7/count", {"counted": "19800"}, "Did you mean 19.8 kg?"),
        ("HU-7/count", {"counted": "0.0198"}, "Did you mean 19.8 kg?"),
        ("HU-7/count", {"counted": "-1"}, "no less than 0"),
        ("HU-7/take", {"taken": "25 kg", "why": "gift"}, "more than the 20.00 kg in stock"),
        ("HU-7/take", {"taken": "0", "why": "gift"}, "Weight is required."),
        ("HU-7/decide", {"decision": "reject"}, "for a reason"),
        ("HU-7/change", {"coffee": "Other"}, "Say why"),
    ],
)
def test_bad_input_is_answered_by_a_sentence_and_nothing_is_lost(
    bench: Bench, path: str, data: dict[str, str], words: str
):
    """The form comes back with what was typed, and nothing is stored."""
    before = len(entries(bench, "HU-7"))
    answer = bench.client.post(f"/lots/{path}", data=data)
    assert answer.status_code == 422
    assert words in text_of(answer)
    assert all(html.escape(value) in answer.text for name, value in data.items() if name != "decision")
    assert len(entries(bench, "HU-7")) == before
    assert len(bench.services.lots.all()) == 1


@pytest.mark.parametrize(
    ("path", "data", "name"),
    [
        ("new", {**NEW, "bought": "60000"}, "bought"),
        ("HU-7/take", {"taken": "25 kg", "why": "gift"}, "taken"),
    ],
)
def test_a_doubtful_weight_is_asked_about_once(bench: Bench, path: str, data: dict[str, str], name: str):
    """The same weight sent again is kept; another doubtful one is asked about again."""
    asked = bench.client.post(f"/lots/{path}", data=data)
    sure = {f"sure-{name}": hidden(asked)[f"sure-{name}"]}
    assert bench.client.post(f"/lots/{path}", data={**data, **sure, name: "70000 kg"}).status_code == 422
    assert bench.client.post(f"/lots/{path}", data={**data, **sure}).status_code == 303


def test_a_stock_below_0_says_what_to_mend_and_blocks_nothing(bench: Bench):
    """The lot's page names the ways out; batches go on to be opened."""
    for _ in range(6):
        bench.roast(30, lot="HU-7", green_g=4000)
    page = text_of(bench.client.get("/lots/HU-7"))
    assert "The books are 4.0 kg short" in page
    assert "books short" in text_of(bench.client.get("/lots"))
    assert bench.open(lot="HU-7", green_g=1000)


def test_two_who_correct_a_lot_at_once_overwrite_nothing_unseen(bench: Bench):
    """Different facts are both kept; the same fact is asked about once, with the other's value."""
    receive(bench)
    first, second = (hidden(bench.client.get("/lots/QW-9/change")) for _ in range(2))
    mine = {"reason": "mistyped", "id": str(uuid4())}
    assert bench.client.post("/lots/QW-9/change", data={**first, **mine, "coffee": "Birch honey"}).status_code == 303
    other = {**second, "reason": "from the invoice", "coffee": "Birch", "place": "Shelf B"}
    assert bench.client.post("/lots/QW-9/change", data=other).status_code == 303
    lot = bench.services.lots.get("QW-9")
    assert (lot.coffee, lot.place) == ("Birch honey", "Shelf B")
    asked = bench.client.post("/lots/QW-9/change", data={**other, "coffee": "Birch natural"})
    assert asked.status_code == 422
    assert "Changed meanwhile to “Birch honey”." in text_of(asked)
    again = {**hidden(asked), "reason": "from the invoice", "coffee": "Birch natural", "place": "Shelf B"}
    assert bench.client.post("/lots/QW-9/change", data=again).status_code == 303
    assert bench.services.lots.get("QW-9").coffee == "Birch natural"
    assert "from the invoice" in text_of(bench.client.get("/lots/QW-9"))


def test_every_entry_can_be_undone_even_the_arrival(bench: Bench):
    """An undone arrival leaves the page with its journal, where undoing the undo brings the lot again."""
    receive(bench)
    (arrived,) = entries(bench)
    assert bench.client.post("/lots/QW-9/undo", data={"entry": arrived["id"]}).status_code == 303
    page = bench.client.get("/lots/QW-9")
    assert "The arrival of this lot was undone." in text_of(page)
    undo = entries(bench)[-1]
    assert bench.client.post("/lots/QW-9/undo", data={"entry": undo["id"]}).status_code == 303
    assert bench.services.lots.get("QW-9").left_g == 30_000


def test_a_lot_is_closed_and_never_deleted(bench: Bench):
    """The list leaves it out behind a link; its page and its batches stay, and the undo opens it again."""
    receive(bench)
    assert "Close this lot" not in text_of(bench.client.get("/lots/QW-9"))
    bench.client.post("/lots/QW-9/decide", data={"decision": "reject", "reason": "wet"})
    bench.client.post("/lots/QW-9/take", data={"taken": "30 kg", "why": "returned"})
    assert "A lot is never deleted" in text_of(bench.client.get("/lots/QW-9"))
    assert bench.client.post("/lots/QW-9/close", data={"reason": "went back"}).status_code == 303
    assert "QW-9" not in bench.client.get("/lots").text
    assert "1 closed lot" in text_of(bench.client.get("/lots"))
    assert "QW-9" in bench.client.get("/lots/closed").text
    assert bench.client.get("/lots/QW-9").status_code == 200
    bench.client.post("/lots/QW-9/undo", data={"entry": entries(bench)[-1]["id"]})
    assert "QW-9" in bench.client.get("/lots").text


def test_a_price_is_on_the_owners_pages_alone(bench: Bench):
    """Neither page nor form shows it to another role, whose corrections leave it as it is."""
    receive(bench, currency="EUR", price_per_kg="7.31", landed_per_kg="8.52")
    bench.client.post("/lots/QW-9/change", data={"landed_per_kg": "8.63", "reason": "freight"})
    for role in Role:
        other = browser(bench, role)
        for path in ("/lots", "/lots/QW-9", "/lots/QW-9/change"):
            said = other.get(path).text
            shown = role is Role.OWN and path != "/lots"
            assert [price in said for price in ("7.31", "8.63")] == [shown, shown], (role, path)
            assert "8.52" not in said or role is Role.OWN
    decides = browser(bench, Role.DECIDE)
    assert decides.post("/lots/QW-9/change", data={"place": "B", "price_per_kg": "1", "reason": "x"}).status_code == 303
    lot = bench.services.lots.get("QW-9")
    assert (lot.place, lot.price_per_kg, lot.landed_per_kg) == ("B", 7.31, 8.63)


def test_cover_and_the_order_of_use(bench: Bench):
    """A coffee that lasts no longer than an order takes is to be ordered; the oldest lot that may be roasted leads."""
    receive(bench, lead_days="26", coffee="Rook")
    bench.services.lots.keep(LotRow("QW-8", "Rook", bought_g=10_000, arrived="2026-01-10"))
    for number in range(5):
        bench.roast(60 + 600 * number, lot="QW-9", green_g=4000)
    house = bench.services.green.house()
    cover = house.covers["Rook"]
    # 20 kg left, 20 kg in the seven days at least that new coffee is averaged over; the other lot came in January: 28.
    assert (cover.left_g, cover.used_g, cover.over_days) == (20_000, 20_000, 28)
    assert cover.lasts_days == pytest.approx(28)
    assert (cover.lead_days, cover.order_now) == (26, False)
    assert house.to_roast[0].lot.code == "QW-8"
    bench.client.post("/lots/QW-8/decide", data={"decision": "hold", "reason": "smells of sack"})
    house = bench.services.green.house()
    assert house.to_roast[0].lot.code != "QW-8"
    assert [one.coffee for one in house.to_order] == ["Rook"]  # 10 kg of a lot that may be roasted last 14 days
    assert "smells of sack" in text_of(bench.client.get("/lots/QW-8"))


def test_books_and_scale_are_the_last_count_of_each_lot(bench: Bench):
    """An earlier count of the same lot no longer matters; a lot that was never counted does not either."""
    receive(bench)
    assert "not counted yet" in text_of(bench.client.get("/lots"))
    for counted, at_s in (("29", 10), ("28.8", 20)):
        bench.clock.turn_to(at_s)
        shown = bench.client.post("/lots/QW-9/count", data={"counted": counted})
        bench.client.post("/lots/QW-9/count", data=hidden(shown))
    counts = bench.services.green.house().counts
    assert counts is not None
    assert (counts.lots, counts.difference_g) == (1, -200)
    assert "−200 g 1 lot counted" in text_of(bench.client.get("/lots"))


def test_a_lots_page_is_one_and_an_odd_code_opens_none(bench: Bench):
    """A code with a slash or a space has its page; an unknown one is not found."""
    receive(bench, code="26/7 Birch")
    assert bench.client.get("/lots/26/7%20Birch").status_code == 200
    assert bench.client.post("/lots/26/7%20Birch/take", data={"taken": "10", "why": "gift"}).status_code == 303
    for path in ("", "/check", "/count", "/take", "/change"):
        assert bench.client.get(f"/lots/NONE{path}").status_code == 404


def test_lists_of_many_lots_ask_no_more_queries(bench: Bench):
    """The list makes as many queries for sixty lots as for one, and folds none."""

    def queries() -> int:
        asked: list[str] = []
        connection = bench.services.store.read
        connection.set_trace_callback(asked.append)
        bench.services.green.house()
        connection.set_trace_callback(None)
        return len(asked)

    few = queries()
    for number in range(60):
        at_ms = START_MS - number * 60 * DAY_MS
        body = {"coffee": f"Coffee {number % 7}", "green_g": 60_000.0}
        entry = {"id": str(uuid4()), "about": f"lot L-{number}", "kind": "arrived", "at_ms": at_ms, "body": body}
        bench.services.journal.accept([entry])
    assert queries() == few == 4


def test_programs_page_and_filter_lots(bench: Bench):
    """Without a question all lots that are not closed come on one page, as they always did."""
    receive(bench)
    receive(bench, code="QW-10", coffee="Cedar")
    bench.client.post("/lots/QW-10/decide", data={"decision": "hold", "reason": "wet"})
    bench.client.post("/lots/QW-9/close")

    def codes(query: str = "") -> list[str]:
        return [lot["code"] for lot in bench.client.get(f"/api/lots{query}").get_json()["lots"]]

    assert codes() == ["HU-7", "QW-10"]
    assert codes("?state=held") == ["QW-10"]
    assert codes("?state=closed") == ["QW-9"]
    assert codes("?size=1&page=2") == ["QW-10"]
    answer = bench.client.get("/api/lots?size=1&page=9").get_json()
    assert (answer["page"], answer["pages"], answer["total"]) == (2, 2, 2)
    assert bench.client.get("/api/lots?state=lost").status_code == 422


def test_a_long_list_has_pages(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """Each page has its lots, and leads to the next."""
    monkeypatch.setattr("roastlog.web.desk.lots.PAGE_LOTS", 1)
    receive(bench)
    first, last = bench.client.get("/lots"), bench.client.get("/lots?page=7")
    assert ("/lots/QW-9" in first.text, "/lots?page=2" in first.text) == (True, True)
    assert 'href="/lots/HU-7"' in last.text
    assert "/lots?page=1" in last.text


@pytest.mark.parametrize("text", ["26/7 Birch", "26/7 BIRCH", "https://old.example/lots/26/7%20Birch"])
def test_a_lots_code_typed_or_scanned_opens_its_page(bench: Bench, text: str):
    """In any capitals, and by the address on a label printed at another server address."""
    receive(bench, code="26/7 Birch")
    assert bench.client.get("/find", query_string={"code": text}).location == "/lots/26/7%20Birch"
    assert bench.client.post("/scan", data={"text": text}).get_json() == {"to": "/lots/26/7%20Birch"}


def test_the_label_of_a_lot_has_its_code_and_leads_to_it(bench: Bench):
    """The QR opens the lot's page; a held lot says so; the PDF has a label for each sack."""
    receive(bench, sacks="2")
    bench.client.post("/lots/QW-9/decide", data={"decision": "hold", "reason": "wet"})
    label = bench.services.labels.lot_label(bench.services.lots.get("QW-9"))
    assert bench.client.post("/scan", data={"text": label.url}).get_json() == {"to": "/lots/QW-9"}
    assert label.warning == "HELD"
    assert "QW-9" in bench.client.get("/lots/QW-9/label").text
    pdf = bench.client.get("/lots/QW-9/label.pdf?size=62x29")
    assert pdf.mimetype == "application/pdf"
    assert pdf.data.count(b"/Type /Page\n") == 2
    assert bench.client.get("/lots/QW-9/label?size=1x1").status_code in {404, 422}


def filed(bench: Bench, data: bytes, name: str = "paper", **more: str) -> TestResponse:
    """A file sent by the form of a lot."""
    form = {"what": "invoice", "file": (io.BytesIO(data), name), **more}
    return bench.client.post("/lots/HU-7/files", data=form, content_type="multipart/form-data")


def test_a_pdf_is_kept_as_it_is_and_only_downloaded(bench: Bench):
    """Whatever its name says; the photo pages do not show it as a picture."""
    paper = b"%PDF-1.7\n<script>alert(1)</script>"
    assert filed(bench, paper, "picture.jpg", title="Invoice 12").status_code == 303
    assert "Invoice 12" in text_of(bench.client.get("/lots/HU-7"))
    (entry,) = (entry for entry in entries(bench, "HU-7") if entry["kind"] == "filed")
    name = entry["body"]["name"]
    answer = bench.client.get(f"/lots/HU-7/files/{name}")
    assert answer.data == paper
    assert answer.mimetype == "application/pdf"
    assert answer.headers["Content-Disposition"].startswith("attachment")
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    for path in (f"/photos/{name}", f"/photos/{name}/small", f"/lots/HU-7/files/{uuid4()}"):
        assert bench.client.get(path).status_code == 404


def test_a_picture_of_a_lot_is_kept_without_metadata(bench: Bench):
    """As a photo of a trier check is."""
    picture = Image.new("RGB", (40, 30), "green")
    exif = picture.getexif()
    exif[0x010F] = "Secret camera"
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif)
    assert filed(bench, out.getvalue(), what="photo").status_code == 303
    name = entries(bench, "HU-7")[-1]["body"]["name"]
    kept = bench.client.get(f"/lots/HU-7/files/{name}")
    assert kept.mimetype == "image/jpeg"
    assert b"Secret camera" not in kept.data


@pytest.mark.parametrize("data", [b"", b"<html>", b" %PDF-1.7", b"MZ\x90\x00"])
def test_any_other_file_is_refused_with_the_reason(bench: Bench, data: bytes):
    """Nothing is stored, and the page says why."""
    answer = filed(bench, data, "invoice.pdf")
    assert answer.status_code == 422
    assert re.search("Choose a photo or a PDF|This is no PDF", text_of(answer))
    assert len(entries(bench, "HU-7")) == 1


def test_a_named_file_is_never_swept(bench: Bench):
    """Files stay, even once their entry is undone or corrected; one that no entry names is deleted after a month."""
    filed(bench, b"%PDF-1.7 a")
    entry = entries(bench, "HU-7")[-1]
    bench.client.post("/lots/HU-7/undo", data={"entry": entry["id"]})
    bench.services.photos.keep_file(str(uuid4()), b"%PDF-1.7 b")
    bench.clock.turn_to(40 * 86_400)
    bench.services.maintenance.sweep_photos()
    rows = bench.services.store.read.execute("SELECT name FROM photos").fetchall()
    assert [row[0] for row in rows] == [f"file {entry['body']['name']}"]


def test_an_invoice_is_for_the_owner_alone(bench: Bench):
    """It has prices; neither its own address nor that of a photo gives it to another role."""
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(out, "JPEG")
    filed(bench, out.getvalue(), title="Invoice 12")
    name = entries(bench, "HU-7")[-1]["body"]["name"]
    for role in Role:
        other = browser(bench, role)
        assert other.get(f"/lots/HU-7/files/{name}").status_code == (200 if role is Role.OWN else 404)
        assert other.get(f"/photos/{name}").status_code == 404
        assert (f"/files/{name}" in other.get("/lots/HU-7").text) == (role is Role.OWN)
