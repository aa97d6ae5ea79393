"""Pages in German: selection of the language, number formats, and unchanged stored data."""

import json
import sqlite3
import threading
from contextlib import closing
from functools import partial

import pytest

from roastlog import languages
from roastlog.journal.vocabulary import MOMENT_LABELS
from roastlog.jsonable import jsonable
from roastlog.languages import N_, _, joined, ngettext, translate, use
from roastlog.languages.catalogue import load, name_of
from roastlog.services.backups import WAITS
from tests.conftest import SHEET, Bench
from tests.web.walk import browser

GERMAN = {"Accept-Language": "de-AT,de;q=0.9,en;q=0.5"}


@pytest.fixture
def german():
    """Translate into German during a test."""
    use("de")
    yield
    use("en")


def test_a_browser_gets_the_language_that_it_asks_for(bench: Bench):
    """By Accept-Language (RFC 9110, 12.5.4; RFC 4647, 3.4), else English; the page declares its language."""
    for asked, language in (("de-AT,de;q=0.9", "de"), ("fr, de;q=0.2", "de"), ("fr", "en"), ("en-US, de;q=0.9", "en")):
        answer = bench.client.get("/", headers={"Accept-Language": asked})
        assert f'<html lang="{language}" dir="ltr">' in answer.text, asked
        assert answer.headers["Content-Language"] == language
        assert {"Accept-Language", "Cookie"} <= set(answer.vary)
    assert "Heute" in bench.client.get("/", headers=GERMAN).text
    assert "Today" in bench.client.get("/").text


def test_language_chosen_on_a_device_takes_precedence(bench: Bench):
    """The device's cookie takes precedence; it can be removed, and an unknown language is ignored."""
    client = bench.client
    assert "Deutsch" in client.get("/settings").text
    assert client.post("/language", data={"language": "de"}).status_code == 303
    assert "Einstellungen" in client.get("/settings", headers={"Accept-Language": "en"}).text
    client.post("/language", data={"language": "xx"})
    assert "Einstellungen" not in client.get("/settings").text
    client.set_cookie("language", "../../etc")
    assert client.get("/settings").status_code == 200


def test_numbers_and_dates_read_as_the_language_writes_them(bench: Bench):
    """3,25 in German (CLDR, by Babel) and 3.25 in English; a stopwatch is the same everywhere."""
    code = bench.roast(500, green_g=3250.0)
    bench.say(bench.entry("weighed", 510, batch=code, roasted_g=2795.0))
    german, english = (
        bench.client.get(f"/batches/{code}", headers=GERMAN).text,
        bench.client.get(f"/batches/{code}").text,
    )
    for number, page, other in (("14.0", english, german), ("14,0", german, english), ("3.25", english, german)):
        assert number in page
        assert number not in other
    assert "25. Nov." in german
    assert ">8:20<" in german
    assert ">8:20<" in english


def test_typed_numbers_may_have_a_comma_or_a_point_in_every_language(bench: Bench):
    """A typed weight is the same with either decimal separator, in either language."""
    for typed in ("2,5", "2.5"):
        for headers in ({}, GERMAN):
            answer = bench.client.post(
                "/machines/drum-4/start", data={"green": typed, "green_unit": "kg"}, headers=headers
            )
            assert answer.status_code == 303
            code = bench.services.live.view("drum-4").batch.code
            assert bench.services.batches.record(code).batch.green_g == 2500.0


def test_stored_data_is_independent_of_language(bench: Bench):
    """A German phone's tap is stored with the same keys as an English one's, and each page translates it."""
    code = bench.roast(60)
    bench.client.post(f"/batches/{code}/note", data={"id": "x", "text": "Charge"}, headers=GERMAN)
    bench.say(bench.entry("trier", 40, batch=code, stage="light_brown", words=["bread", "Weg"]))
    stored = bench.client.get(f"/api/batches/{code}", headers=GERMAN).get_json()
    assert [entry["body"] for entry in stored["entries"] if entry["kind"] in {"note", "trier"}] == [
        {"stage": "light_brown", "words": ["bread", "Weg"]},
        {"text": "Charge"},
    ]
    german, english = (bench.client.get(f"/batches/{code}", headers=headers).text for headers in (GERMAN, {}))
    assert "Probe: Hellbraun, Brot, Weg" in german
    assert "Trier: light brown, bread, Weg" in english
    assert stored["state"] == "cooling"


def test_the_stream_is_in_the_language_of_each_screen(bench: Bench):
    """Two screens receive one tap, each in its own language."""
    heard: dict[str, str] = {}

    def listen(language: str) -> None:
        for events in bench.services.live.hub("drum-4").watch(language):
            for event in events:
                if event.name == "entry":
                    heard[language] = event.data
                    return

    screens = [threading.Thread(target=listen, args=(language,)) for language in ("de", "en")]
    hub = bench.services.live.hub("drum-4")
    for screen in screens:
        screen.start()
    while hub.watchers < 2:
        pass
    bench.open()
    for screen in screens:
        screen.join(10)
    assert "Charge eröffnet" in heard["de"]
    assert "Batch opened" in heard["en"]
    assert json.loads(heard["de"]).keys() == json.loads(heard["en"]).keys()


def test_errors_are_in_the_language_of_the_reader(bench: Bench):
    """Pages and the API answer errors in the reader's language, even to an unpaired device."""
    assert "Diesen Code hat keine Charge" in bench.client.get("/r/none", headers=GERMAN).text
    refused = bench.client.get("/api/batches/26330-04X", headers=GERMAN).get_json()
    assert refused["title"] == "Dieser Code ist vertippt"
    assert "nicht gekoppelt" in browser(bench).get("/", headers=GERMAN).text


def test_refusals_of_the_api_are_in_the_language_of_the_sender(bench: Bench):
    """Refused: a payload without entries, and a move on a machine without controls."""
    send = partial(bench.client.post, "/api/entries", headers=GERMAN)
    assert send(json={}).get_json()["error"].startswith('Es wird ein JSON-Objekt {"entries": […]} mit höchstens')
    code = bench.open()
    bench.services.machines.add(SHEET.partition("[[controls]]")[0])
    move = bench.entry("move", 0, batch=code, control="radiant", setting=1)
    reason = send(json={"entries": [move]}).get_json()["results"][0]["reason"]
    assert reason == "Four-kilo drum hat keinen Regler „radiant“; es gibt keine."


def test_disk_errors_are_in_the_language_of_the_reader(bench: Bench):
    """The error is raised in the writer thread, because another program holds the database."""
    store = bench.services.store
    store.write(lambda db: db.conn.execute("PRAGMA busy_timeout = 20").fetchone())
    with closing(sqlite3.connect(store.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        german = bench.client.post(
            "/machines/drum-4/start", data={"green": "2", "green_unit": "kg"}, headers=GERMAN
        ).text
        today = {code: bench.client.get("/", headers={"Accept-Language": code}).text for code in ("de", "en")}
        other.execute("ROLLBACK")
    assert "In die Datenbank lässt sich nicht schreiben" in german
    assert f"Die Datenbank ist {store.path}." in german
    assert "In die Datenbank lässt sich nicht schreiben" in today["de"]
    assert "The database cannot be written" in today["en"]
    for language, waits in (("en", str(WAITS)), ("de", load("de").single(WAITS))):
        assert waits in today[language]


def test_a_message_can_be_translated_again(german: None):
    """A message from a recorder thread is translated when it is read, and so are its parts."""
    use("en")
    whole = joined(" · ", [_("Weighed {mass}", mass="3 g"), translate(MOMENT_LABELS["drop"]), "own words"])
    assert whole == "Weighed 3 g · Drop · own words"
    use("de")
    assert jsonable({"text": (whole, 3, None)}) == {"text": ["Gewogen 3 g · Auswurf · own words", 3, None]}
    assert (N_("Drop"), _(MOMENT_LABELS["drop"])) == ("Drop", "Auswurf")
    assert _("{loss:.1f} % loss", loss=14.26) == "14,3 % Einbrand"
    assert [ngettext("{n} channel", "{n} channels", n) for n in (0, 1, 2)] == ["0 Kanäle", "1 Kanal", "2 Kanäle"]


def test_a_page_escapes_the_fields_of_a_message(bench: Bench):
    """A field is data: markup in a name stays text."""
    with bench.app.test_request_context():
        inside = bench.app.jinja_env.from_string('{{ _("Name {code}", code=typed) }}').render(typed="<b>&")
    assert inside == "Name &lt;b&gt;&amp;"


def test_english_reads_no_catalogue():
    """English loads no catalogue; German is loaded completely when it is used."""
    assert load("en").singles == {}
    assert languages.known()[0] == "en"
    german = load("de")
    assert (german.decimal, german.direction, name_of("de")) == (",", "ltr", "Deutsch")
    assert {"● pressed", "awake"} <= german.in_scripts.keys()
    assert "Rate crash" not in german.in_scripts
