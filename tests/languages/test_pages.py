"""Every page in the invented language of brackets: what stands outside of a bracket was forgotten."""

import json
from collections import defaultdict
from pathlib import Path

import pytest

from tests.conftest import Bench
from tests.languages import pseudo
from tests.web.walk import addresses

# Words that are no words of ours: names and values that somebody gave, units, names of formats, and dates.
SHEET = 'id = "drum-1" name = "Small drum" batch_g = [500, 1200] [[channels]] …'  # a sheet is what it is
DATA = set((Path(__file__).parent / "data.txt").read_text(encoding="utf-8").split())


def _furnished(bench: Bench) -> tuple[str, str]:
    """Two batches, one with all that can be said of it; their codes."""
    bench.services.add_person("Ines", "Ines")
    first = bench.roast(500, lot="HU-7", green_g=2000.0)
    second = bench.roast(480, start_s=2000, lot="HU-7", green_g=2000.0, intent="both", plan={"development_s": 60.0})
    opened = bench.services.record(second).batch.opened
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


def test_no_page_says_a_word_that_no_language_can_have(bench: Bench, monkeypatch: pytest.MonkeyPatch):
    """All pages, of a machine at rest, of batches with everything in them, and of what is not there."""
    first, second = _furnished(bench)
    pseudo.speak(monkeypatch)
    bench.client.set_cookie("language", pseudo.CODE)
    paths = [path for method, path, _ in addresses(bench, second) if method == "GET" and not path.endswith("/live")]
    paths += [f"/compare?batches={first},{second}", "/compare?batches=zz,26330-04", "/find?code=26330-04X", "/nowhere"]
    paths += [f"/batches/{first}", f"/batches/{first}/weigh", "/batches?q=zz", "/settings?kept", "/machines/drum-9"]
    forgotten: dict[str, set[str]] = defaultdict(set)
    for path in paths:
        answer = bench.client.get(path)
        assert answer.status_code != 500, path
        if answer.mimetype != "text/html" or answer.status_code == 303:
            continue
        for word, line in pseudo.unmarked(answer.text):
            if word not in DATA and line != SHEET:
                forgotten[line[:120]].add(path)
    assert not forgotten, json.dumps({line: sorted(where)[:3] for line, where in forgotten.items()}, indent=1)
