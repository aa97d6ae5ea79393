"""Every page in the bracket pseudo-language: text outside of brackets was not marked."""

import json
import re
from collections import defaultdict
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from roastlog.web.http.roles import LOOK
from tests.conftest import Bench
from tests.languages import pseudo
from tests.web.walk import addresses, browser, secured

# Words that are not ours: names and values that somebody entered, units, names of formats, and dates.
SHEET = 'id = "drum-1" name = "Small drum" batch_g = [500, 1200] [[channels]] …'  # a sheet is not translated
FINGERPRINT = re.compile(r"[0-9A-F]{4}")  # a group of a certificate's number
DATA = set((Path(__file__).parent / "data.txt").read_text(encoding="utf-8").split())


def _furnished(bench: Bench) -> tuple[str, str]:
    """Two batches, one of them with every kind of entry; returns their codes."""
    bench.services.people.add("Ines", "Ines")
    first = bench.roast(500, lot="HU-7", green_g=2000.0)
    second = bench.roast(480, start_s=2000, lot="HU-7", green_g=2000.0, intent="both", plan={"development_s": 60.0})
    opened = bench.services.batches.record(second).batch.opened
    assert opened is not None
    bench.say(
        bench.entry("move", 2030, batch=second, control="radiant", setting=4.5),
        bench.entry("trier", 2100, batch=second, stage="tan", words=["bread"]),
        bench.entry("aroma", 2110, batch=second, words=["hay"]),
        bench.entry("crack", 2420, batch=second, vigour="steady"),
        bench.entry("note", 2425, batch=second, text="own words"),
        bench.entry("weighed", 2500, batch=second, roasted_g=1700.0, removed_g=20.0),
        bench.entry("released", 2510, batch=second, decision="hold", reason="own words"),
        bench.entry("amend", 2520, batch=second, entry=str(opened.id), body={"intent": None}),
    )
    return first, second


def _forgotten(path: str, answer: TestResponse) -> dict[str, set[str]]:
    """Lines of a page with a word outside of brackets, each with the page's path."""
    assert answer.status_code != 500, path
    if answer.mimetype != "text/html" or answer.status_code == 303:
        return {}
    lines = [line for word, line in pseudo.unmarked(answer.text) if word not in DATA]
    found = [line for line in lines if line != SHEET and not FINGERPRINT.fullmatch(line)]
    return {line[:120]: {path} for line in found}


def _in_brackets(client: FlaskClient) -> FlaskClient:
    client.set_cookie("language", pseudo.CODE)
    return client


def test_no_page_has_an_unmarked_word(bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """No page has an unmarked word: of an idle machine, complete batches, trust, and missing things."""
    first, second = _furnished(bench)
    bench.app.extensions["secure"] = secured(tmp_path)
    pseudo.speak(monkeypatch)
    client = _in_brackets(bench.client)
    paths = [path for method, path, _ in addresses(bench, second) if method == "GET" and not path.endswith("/live")]
    paths += [f"/compare?batches={first},{second}", "/compare?batches=zz,26330-04", "/find?code=26330-04X", "/nowhere"]
    paths += [f"/batches/{first}", f"/batches/{first}/weigh", "/batches?q=zz", "/settings?kept", "/machines/drum-9"]
    forgotten: dict[str, set[str]] = defaultdict(set)
    for path in paths:
        for line, where in _forgotten(path, client.get(path)).items():
            forgotten[line] |= where
    assert client.get("/trust").status_code == 200
    assert not forgotten, json.dumps({line: sorted(where)[:3] for line, where in forgotten.items()}, indent=1)


def test_pairing_pages_have_no_unmarked_word(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """The pairing pages have no unmarked word: for an owner, a stranger, a refused code, and a role that is too low."""
    pseudo.speak(monkeypatch)
    owner, stranger = _in_brackets(bench.client), _in_brackets(browser(bench))
    looking = _in_brackets(browser(bench, LOOK, name="Ines phone"))
    made = bench.services.pairing.invite("look")
    answers = {
        "a code": owner.post("/devices/invite", data={"role": "operate"}),
        "a name that is too long": owner.post("/devices/invite", data={"role": "own", "name": "x" * 200}),
        "no role": owner.post("/devices/invite", data={"role": ""}),
        "a token": owner.post("/tokens", data={"name": "Ines", "role": "look"}),
        "/devices": owner.get("/devices"),
        "a stranger": stranger.get("/"),
        "a link": stranger.get(f"/pair/{made.secret}"),
        "a link that is over": stranger.get("/pair/none"),
        "a wrong code": stranger.post("/pair", data={"code": "1", "name": ""}),
        "a role that is not enough": looking.get("/devices"),
        "let in already": looking.get("/pair"),
    }
    assert {answer.status_code for answer in answers.values()} == {200, 401, 403, 422}
    told = {name: sorted(found) for name, answer in answers.items() if (found := _forgotten(name, answer))}
    assert not told, json.dumps(told, indent=1)
