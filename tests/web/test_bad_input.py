"""Any input in a form, an address or an entry stays text, gets a clear answer, and breaks nothing."""

import json
import logging
import math
from html.parser import HTMLParser
from urllib.parse import quote
from uuid import uuid4

import pytest

from roastlog.services import LotRow, Services
from tests.conftest import START_MS, Bench

HTML = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'><svg onload=alert(1)>",
    "</script><script>alert(1)</script>",
    "{{ 7 * 7 }}{% raise %}",
    "javascript:alert(1)",
    "<!--<script>",
]
ODD = ["<", "\x00", "\u202e", "a\nb", "😀" * 20, "ﷺ", "%s%n", "../..", "' OR 1=1 --", "\ufffe", "W" * 80]
TOGETHER = ["".join(text for text in ODD if len(text) < 20), "😀" * 20, "W" * 80]  # in as few batches as possible


class Tags(HTMLParser):
    """The tags of a page with their attributes, and the content of its data blocks."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.blocks: list[str] = []
        self._block = False
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Record a tag and its attributes as a browser sees them."""
        self.tags.append((tag, dict(attrs)))
        self._block = tag == "script" and dict(attrs).get("type") == "application/json"

    def handle_endtag(self, tag: str) -> None:  # noqa: ARG002 - HTMLParser names it
        """End a data block."""
        self._block = False

    def handle_data(self, data: str) -> None:
        """Record the content of a data block."""
        if self._block:
            self.blocks.append(data)


def assert_harmless(text: str, path: str) -> None:
    """Assert that a page has only our script files, no handler, no foreign picture, and complete data blocks."""
    page = Tags(text)
    for tag, attributes in page.tags:
        assert not [name for name in attributes if name.startswith("on")], (path, tag, attributes)
        assert tag not in {"iframe", "object", "embed"}, path
        assert attributes.get("src") != "x", path
        for name in ("href", "src", "action"):
            assert not (attributes.get(name) or "").strip().lower().startswith("javascript:"), path
        if tag == "script" and attributes.get("type") != "application/json":
            assert (attributes.get("src") or "").startswith(("/static/", "/vendor/")), (path, attributes)
    for block in page.blocks:
        assert json.loads(block) is not None, path
        assert "<" not in block, path
    assert "alert(1)</script>" not in text.replace("&lt;", ""), path
    assert "49{%" not in text, path


def pages(services: Services, code: str) -> list[str]:
    """Every page that shows part of a batch or of the stock."""
    token = services.batches.summary(code).token
    return [
        "/",
        "/start",
        "/batches",
        "/batches/found",
        "/lots",
        "/lots/closed",
        "/lots/HU-7",
        "/lots/HU-7/change",
        "/lots/HU-7/check",
        "/lots/HU-7/count",
        "/lots/HU-7/take",
        "/settings",
        "/more",
        "/machines",
        "/machines/drum-4",
        "/machines/drum-4/now",
        "/machines/drum-4/start",
        f"/batches/{code}",
        f"/batches/{code}/label",
        f"/batches/{code}/label?size=a4-70x37&copies=3",
        f"/batches/{code}/weigh",
        f"/batches/{code}/names",
        f"/r/{token}",
        "/find",
    ]


def say_all(bench: Bench, text: str) -> str:
    """Send every kind of entry with a text field, each with ``text``; returns the batch."""
    short = text[:80]
    lot = LotRow("HU-7", short, *[short] * 4, bought_g=20_000.0, arrived=short, cup=short, price=short, note=short)
    bench.services.lots.keep(lot)
    bench.services.settings.change({"business": short, "bag_shows_people": True, "bag_shows_weights": True})
    bench.services.people.add(short, short)
    by = {"person": short, "device": short}
    code = bench.say(
        bench.entry("opened", -30, lot="HU-7", coffee=short, intent=short, guide=short, green_g=4000) | {"by": by}
    )[0]["batch"]
    entries = [
        bench.entry("moment", 0, batch=code, moment="charge"),
        bench.entry("trier", 20, batch=code, stage="pale", words=[short]),
        bench.entry("aroma", 30, batch=code, words=[short, short + "2"[: 80 - len(short)]]),
        bench.entry("crack", 40, batch=code, vigour="steady"),
        bench.entry("note", 50, batch=code, text=text),
        bench.entry("moment", 60, batch=code, moment="drop"),
        bench.entry("weighed", 61, batch=code, roasted_g=3400),
        bench.entry("colour", 62, batch=code, value=60, scale=short, sample="whole"),
        bench.entry("released", 63, batch=code, decision="hold", reason=text),
        bench.entry(
            "amend", 64, batch=code, entry=str(uuid4()), body={short: text, "words": [text], "plan": {short: text}}
        ),
    ]
    results = bench.say(*[entry | {"by": by} for entry in entries])
    assert {result["status"] for result in results} == {"stored"}, results
    return code


@pytest.mark.parametrize("text", HTML)
def test_html_stays_text_on_every_page(bench: Bench, text: str):
    """HTML in any text field of an entry, lot, person or setting stays text, in attributes and data blocks too."""
    bench.clock.turn_to(60)
    bench.push(*((second, "bean_probe", 100.0 + second) for second in range(61)))
    code = say_all(bench, text)
    shown = ""
    for path in pages(bench.services, code):
        answer = bench.client.get(path, follow_redirects=True)
        assert answer.status_code == 200, path
        assert_harmless(answer.text, path)
        shown += answer.text
    assert text not in shown or "<" not in text
    assert bench.client.get(f"/batches/{code}/label.pdf").data.startswith(b"%PDF")
    assert bench.client.get(f"/api/batches/{code}").get_json()["coffee"] == text[:80]


@pytest.mark.parametrize("text", HTML)
def test_html_in_a_live_event_breaks_no_event(bench: Bench, text: str):
    """No text can end an event or start another."""
    hub = bench.services.live.hub("drum-4")
    bench.push((0, "bean_probe", 100.0))
    watch = hub.watch()
    next(watch)
    code = bench.open(coffee=f"a\nevent: x\n\n{text}"[:80])
    bench.say(bench.entry("note", batch=code, text=f"one\r\n\r\ndata: {text}"))
    for event in next(watch):
        assert "\n" not in event.data
        assert "\r" not in event.data
        assert json.loads(event.data)
    watch.close()


@pytest.mark.parametrize("text", TOGETHER)
def test_odd_characters_are_kept_and_shown(bench: Bench, text: str):
    """With control characters, right-to-left marks and very long words every page and label still works."""
    code = say_all(bench, f"a{text}b"[:80])
    for path in [*pages(bench.services, code), f"/batches/{code}/label.pdf", f"/batches/{code}/figure.json"]:
        assert bench.client.get(path, follow_redirects=True).status_code == 200, path


FORMS = ["/machines/drum-4/start", "/batches/{code}/names", "/batches/{code}/weigh", "/batches/{code}/note"]
FORMS += [
    "/batches/{code}/decision",
    "/batches/{code}/undo",
    "/batches/{code}/shift",
    "/lots/new",
    *("/lots/HU-7/change", "/lots/HU-7/check", "/lots/HU-7/count", "/lots/HU-7/take"),
    *("/lots/HU-7/decide", "/lots/HU-7/close", "/lots/HU-7/undo"),
    "/people",
    "/settings",
]
FORMS += ["/machines"]
FIELDS = ("lot", "coffee", "green", "green_unit", "intent", "intent_words", "development", "ratio", "guide", "person")
FIELDS += ("id", "roasted", "removed", "note", "then", "text", "decision", "reason", "entry", "by_s", "code", "bought")
FIELDS += ("origin", "name", "shown", "business", "url_base", "units_temp", "units_mass", "best_before_days", "told")
FIELDS += ("arrived", "harvested", "sacks", "lead_days", "currency", "price_per_kg", "counted", "taken", "why")
FIELDS += ("moisture_percent", "water_activity", "density_mass", "volume_ml", "screen", "sample_g", "defect-broken")
NONSENSE = [
    "",
    " ",
    "-1",
    "0",
    "1e999",
    "9" * 400,
    "nan",
    "inf",
    "-0",
    "١٢",
    "1,5,5",
    "0x10",
    "<b>",
    "\x00",
    "x" * 5000,
]


@pytest.mark.parametrize("form", FORMS)
def test_forms_filled_with_nonsense_are_answered_in_words(bench: Bench, form: str, caplog: pytest.LogCaptureFixture):
    """Empty, invalid, too large, negative and too long values cause no error of ours, and the batch is unchanged."""
    code = bench.roast(30, green_g=4000)
    before = len(bench.services.batches.record(code).log)
    for value in [None, *NONSENSE, *HTML, *ODD]:
        data = {} if value is None else dict.fromkeys(FIELDS, value)
        answer = bench.client.post(form.format(code=code), data=data)
        assert answer.status_code < 500, (form, value)
        shown = {200} if form.endswith("/count") else set()  # a count is shown before it is saved
        assert answer.status_code in {303, 422} | shown, (form, value)
        if answer.status_code == 422:
            assert_harmless(answer.text, form)
    assert bench.client.get(f"/batches/{code}").status_code == 200
    assert len(bench.services.batches.record(code).log) - before <= len(NONSENSE + HTML + ODD)
    assert not [record for record in caplog.records if record.levelno >= logging.ERROR]


NO_FORMS = [(b"{}", "application/json"), (b'{"text": "x"}', "text/plain"), (b"<x/>", "application/xml")]
NO_FORMS += [(b"\xff\xfe", "application/octet-stream"), (b"text=x", "")]


@pytest.mark.parametrize("form", FORMS)
def test_a_body_that_is_no_form_is_refused(bench: Bench, form: str):
    """The answer names the accepted format, and nothing is stored: a program's mistake opens no batch."""
    code = bench.open()
    for data, content_type in NO_FORMS:
        answer = bench.client.post(form.format(code=code), data=data, content_type=content_type)
        assert answer.status_code == 415
        assert "Pages accept forms" in answer.text
    assert bench.services.batches.page().total == 1
    assert len(bench.services.batches.record(code).log) == 1


@pytest.mark.parametrize(
    "data",
    [
        b'--x\r\nContent-Disposition: form-data; name="text"\r\n\r\nhello',
        b"--x",
        b"\x00" * 100,
        b'--x\r\nContent-Disposition: form-data; name="file"; filename="../../x"\r\n\r\n\xff\xfe\r\n--x--\r\n',
    ],
)
def test_a_broken_upload_is_answered(bench: Bench, data: bytes):
    """A form that ends in the middle, and a file that is not text, get an answer."""
    answer = bench.client.post("/machines", data=data, content_type="multipart/form-data; boundary=x")
    assert answer.status_code in {400, 422}
    assert_harmless(answer.text, "/machines")


@pytest.mark.parametrize(
    ("form", "data"),
    [
        ("/machines/drum-4/start", {"coffee": "Alder washed"}),
        ("/batches/{code}/weigh", {"roasted": "3400"}),
        ("/batches/{code}/note", {"text": "twice"}),
        ("/batches/{code}/decision", {"decision": "release"}),
    ],
)
def test_a_form_sent_twice_counts_once(bench: Bench, form: str, data: dict[str, str]):
    """A double tap is answered the same twice."""
    code = bench.roast(30, green_g=4000)
    before = len(bench.services.batches.record(code).log) + bench.services.batches.page().total
    ident = str(uuid4())
    answers = [bench.client.post(form.format(code=code), data={**data, "id": ident}) for _ in range(3)]
    assert {(answer.status_code, answer.location) for answer in answers} == {(303, answers[0].location)}
    assert len(bench.services.batches.record(code).log) + bench.services.batches.page().total == before + 1


@pytest.mark.parametrize(
    "code",
    [
        "%00",
        "%FF%FE",
        "%ED%A0%80",
        "<script>",
        "%3Cscript%3Ealert(1)%3C/script%3E",
        "26330-04",
        "26330-04%0A",
        "26330-04\u0660",
        "２６３３０-０４T",
        "x" * 3000,
        "..",
        "%2e%2e",
        "' OR 1=1",
        "26330-04T;",
        "{{7*7}}",
        "0",
        "-",
        "99999-99Z",
    ],
)
def test_an_odd_code_in_an_address_is_not_found(bench: Bench, code: str):
    """Every page and call with a code in its path answers with a message, and the code is harmless text there."""
    code = quote(code, safe="%")
    for path in ("", "/label", "/label.pdf", "/weigh", "/names", "/figure.json"):
        answer = bench.client.get(f"/batches/{code}{path}", follow_redirects=True)
        assert answer.status_code in {200, 404}, path
        assert answer.status_code == 404 or code in {"..", "%2e%2e"}, path
        assert_harmless(answer.text, path)
    for path in ("", "/curve", "/curve.csv"):
        answer = bench.client.get(f"/api/batches/{code}{path}")
        assert answer.status_code == 404, path
    for path in ("note", "weigh", "names", "undo", "shift", "decision"):
        answer = bench.client.post(f"/batches/{code}/{path}", data={"text": "x", "roasted": "1"})
        assert answer.status_code in {404, 405, 422}, path
    for path in (
        f"/find?code={code}",
        f"/r/{code}",
        f"/machines/{code}",
        f"/machines/{code}/start",
        f"/batches?q={code}",
    ):
        answer = bench.client.get(path, follow_redirects=True)
        assert answer.status_code in {200, 404}, path
        assert_harmless(answer.text, path)


@pytest.mark.parametrize("typed", ["{0}{1}{2}", " {0}-{1} {2}", "l{0}-{1}{2}", "{0}-{1}{2}\n", "\t{0}-{1}{2}"])
def test_a_code_typed_loosely_is_understood_everywhere(bench: Bench, typed: str):
    """With spaces, a missing hyphen or a line end, pages, labels and file names are those of the batch."""
    real = bench.open()
    code = quote(typed.format(real[:5], real[6:-1], real[-1]))
    for path in ("", "/label", "/label.pdf", "/weigh"):
        answer = bench.client.get(f"/batches/{code}{path}")
        assert answer.status_code == 200, path
    assert f'"label-{real}-' in bench.client.get(f"/batches/{code}/label.pdf").headers["Content-Disposition"]


@pytest.mark.parametrize(
    "query", ["page=-1", "page=x", "page=" + "9" * 50, "page=0", "q=" + "%" * 90, "size=-5", "size=0&page=2"]
)
def test_a_page_number_out_of_range_is_limited(bench: Bench, query: str):
    """A page shows the nearest existing number; a program gets an error."""
    bench.open()
    assert bench.client.get(f"/batches?{query}").status_code == 200
    answer = bench.client.get(f"/api/batches?{query}")
    assert answer.status_code == (200 if query.startswith("q=") else 422)
    assert answer.status_code == 200 or "must be a whole number from" in answer.get_json()["error"]
    assert bench.client.get("/api/batches?page=999").get_json()["page"] == 1


@pytest.mark.parametrize(
    "query",
    [
        "size=huge",
        "copies=0",
        "copies=-1",
        "copies=9999999",
        "copies=x",
        "skip=500",
        "copies=1000000",
        "size=a4&skip=-1",
    ],
)
def test_impossible_labels_are_reported(bench: Bench, query: str):
    """An impossible number of labels and an unknown size are reported."""
    code = bench.open()
    for path in ("label", "label.pdf"):
        answer = bench.client.get(f"/batches/{code}/{path}?{query}")
        assert answer.status_code in {200, 422}, path
        if path == "label.pdf":
            assert answer.status_code == 422


JSON = [
    b"",
    b"null",
    b"[]",
    b'"x"',
    b"{",
    b"\xff",
    b'{"entries": null}',
    b'{"entries": {}}',
    b'{"entries": ' + b"[" * 100_000,
    b'{"entries": [' + b'{"a":' * 50_000,
    b'{"entries": [' + b",".join([b"1"] * 1001) + b"]}",
    b'{"entries": [1' + b"0" * 5000 + b"]}",
]


@pytest.mark.parametrize("data", JSON)
@pytest.mark.parametrize("path", ["/api/entries", "/api/machines/drum-4/readings"])
def test_an_invalid_body_is_refused(bench: Bench, path: str, data: bytes):
    """Any nesting of brackets gets a clear answer."""
    answer = bench.client.post(path, data=data, content_type="application/json")
    assert answer.status_code in {400, 422}
    assert len(answer.get_json()["error"]) > 20


def raw(bench: Bench, entry: object) -> dict[str, str]:
    """Send one entry as Python's JSON, including NaN; returns its result."""
    text = json.dumps({"entries": [entry]})
    answer = bench.client.post("/api/entries", data=text, content_type="application/json")
    assert answer.status_code == 200, answer.text
    return answer.get_json()["results"][0]


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("amend", {"entry": str(uuid4()), "body": {"x": math.nan}}),
        ("amend", {"entry": str(uuid4()), "body": {"x": math.inf}}),
        ("amend", {"entry": str(uuid4()), "body": {"x": "\ud800"}}),
        ("amend", {"entry": str(uuid4()), "body": {"\ud800": 1}}),
        ("amend", {"entry": str(uuid4()), "body": {"x": [[[1]]]}}),
        ("amend", {"entry": str(uuid4()), "body": {"x": {"y": {"z": 1}}}}),
        ("amend", {"entry": str(uuid4()), "body": {}}),
        ("note", {"text": "\ud800"}),
        ("note", {"text": "x" * 2001}),
        ("note", {"text": 5}),
        ("move", {"control": "radiant", "setting": 10**400}),
        ("move", {"control": "radiant", "setting": math.nan}),
        ("move", {"control": "\x00", "setting": 1}),
        ("weighed", {"roasted_g": math.inf}),
        ("weighed", {"roasted_g": -1}),
        ("weighed", {"roasted_g": 0}),
        ("aroma", {"words": ["x"] * 17}),
        ("aroma", {"words": [""]}),
        ("undo", {"entry": "nothing"}),
        ("shift", {"entry": str(uuid4()), "by_s": 0}),
        ("shift", {"entry": str(uuid4()), "by_s": 1e9}),
        ("colour", {"value": 1, "scale": "x", "sample": "both"}),
        ("moment", {"moment": "third_crack"}),
        ("party", {}),
    ],
)
def test_an_entry_that_cannot_be_is_refused_with_a_reason(bench: Bench, kind: str, body: dict[str, object]):
    """The batch is unchanged."""
    code = bench.open()
    result = raw(bench, bench.entry(kind, batch=code, **body))
    assert result["status"] == "refused"
    assert len(result["reason"]) > 10
    assert len(bench.services.batches.record(code).log) == 1


@pytest.mark.parametrize(
    "wrong",
    [
        {"id": "x"},
        {"id": 5},
        {"id": None},
        {"machine": "nowhere"},
        {"machine": "a b"},
        {"machine": 5},
        {"batch": "\ud800"},
        {"batch": "x y"},
        {"batch": "x" * 81},
        {"batch": None},
        {"at_ms": -1},
        {"at_ms": 1.5},
        {"at_ms": 10**30},
        {"at_ms": "now"},
        {"by": "Ines"},
        {"by": {"person": "x" * 81}},
        {"by": {"who": "Ines"}},
        {"body": []},
        {"body": "x"},
        {"kind": 5},
        {"extra": 1},
    ],
)
def test_an_entry_with_a_wrong_frame_is_refused_alone(bench: Bench, wrong: dict[str, object]):
    """The entry beside it is stored."""
    code = bench.open()
    bad = bench.entry("note", batch=code, text="bad") | wrong
    good = bench.entry("note", batch=code, text="good")
    results = bench.client.post(
        "/api/entries", data=json.dumps({"entries": [bad, good]}), content_type="application/json"
    )
    assert [result["status"] for result in results.get_json()["results"]] == ["refused", "stored"]


def test_corrections_that_do_not_fit_break_no_page(bench: Bench):
    """A correction stored before its entry, which does not fit, leaves batch, pages and live view working."""
    opened = bench.entry("opened", -30, coffee="Alder washed", green_g=4000)
    changes = [{"plan": "soon"}, {"plan": {"development_s": "x"}}, {"green_g": "much"}, {"coffee": 5}, {"lot": ["a"]}]
    changes += [{"plan": [1]}, {"x": True}, {"plan": {"development_s": 9e9}}, {"intent": {"a": "b"}}]
    code = bench.say(opened)[0]["batch"]
    note = bench.entry("note", 5, batch=code, text="a")
    bench.say(*[bench.entry("amend", 6, batch=code, entry=note["id"], body=change) for change in changes])
    assert bench.say(note)[0]["status"] == "stored"
    for path in pages(bench.services, code):
        assert bench.client.get(path, follow_redirects=True).status_code == 200, path
    assert bench.client.get("/machines/drum-4/view").get_json()["batch"]["code"] == code
    assert "has an invalid correction" in bench.client.get(f"/batches/{code}").text
    assert bench.services.batches.record(code).batch.facts.coffee == "Alder washed"


def test_times_far_away_break_no_page(bench: Bench):
    """A phone whose clock is a thousand years off is stored as sent, and every page still works."""
    code = bench.open()
    far = [bench.entry("moment", batch=code, moment=moment) for moment in ("charge", "yellow", "first_crack", "drop")]
    times = [START_MS, 0, 32_503_680_000_000, 32_503_679_000_000]
    sent = [entry | {"at_ms": at_ms} for entry, at_ms in zip(far, times, strict=True)]
    sent.append(bench.entry("shift", batch=code, entry=far[1]["id"], by_s=-7200))
    assert {result["status"] for result in bench.say(*sent)} == {"stored"}
    bench.push((0, "bean_probe", 100.0), (1, "bean_probe", 101.0))
    for path in [*pages(bench.services, code), f"/api/batches/{code}", f"/batches/{code}/figure.json"]:
        assert bench.client.get(path, follow_redirects=True).status_code == 200, path
    assert bench.client.get("/machines/drum-4/view").status_code == 200
    results = bench.say(bench.entry("opened") | {"at_ms": 32_503_680_000_000}, bench.entry("opened") | {"at_ms": 0})
    assert {result["status"] for result in results} == {"stored"}
    assert bench.client.get("/batches").status_code == 200


def test_a_number_too_large_for_a_float_is_refused(bench: Bench):
    """The reading beside it is accepted."""
    text = '{"readings": [{"channel": "bean_probe", "value": 1%s}, {"channel": "bean_probe", "value": 100}]}' % (
        "0" * 400
    )
    answer = bench.client.post("/api/machines/drum-4/readings", data=text, content_type="application/json")
    assert (answer.status_code, answer.get_json()["accepted"]) == (202, 1)
    assert "Temperature must be" in answer.get_json()["refused"][0]["reason"]


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "OPTIONS"])
def test_other_methods_are_answered_and_change_nothing(bench: Bench, method: str):
    """No other method changes data, on pages or in the API."""
    code = bench.open()
    for path in ("/", f"/batches/{code}", f"/api/batches/{code}", "/api/entries", "/settings"):
        assert bench.client.open(path, method=method).status_code in {200, 405}
    assert len(bench.services.batches.record(code).log) == 1
