"""The registry of kinds: a kind without a page needs only its row."""

from uuid import uuid4

import pytest

from roastlog.errors import EntryRefused
from roastlog.journal.entries import Entry, parse_entry
from roastlog.journal.fold import fold, fold_lot, lines_of
from roastlog.journal.kinds import REGISTRY, shiftable
from roastlog.journal.kinds.base import Body, Grams, Kind
from roastlog.journal.subject import NAMED, SUBJECTS, Subject
from roastlog.journal.wording import tell
from roastlog.web.api.openapi import description
from roastlog.web.http.roles import DECIDE, OPERATE, OWN, refused_to
from tests.conftest import Bench
from tests.journal import kinds_table
from tests.web.walk import browser


class Chaffed(Body):
    """The weighed chaff."""

    chaff_g: Grams


TOY = Kind(
    "chaffed",
    ("batch", "machine"),
    Chaffed,
    "decide",
    lambda body, _telling: f"Chaff {body['chaff_g']:g} g",
    shiftable=True,
)


@pytest.fixture
def toy(monkeypatch: pytest.MonkeyPatch) -> Kind:
    """A kind defined only by its row."""
    monkeypatch.setitem(REGISTRY, TOY.name, TOY)
    return TOY


def test_a_row_alone_makes_a_kind_in_the_api(bench: Bench, toy: Kind):
    """It is accepted about a batch and a machine, validated, stored, folded and worded."""
    code = bench.open()
    said = bench.entry("chaffed", 5, batch=code, chaff_g=120.0)
    about = {**bench.entry("chaffed", 6, chaff_g=80.0), "about": "machine drum-4"}
    del about["machine"]
    results = bench.say(said, about, bench.entry("chaffed", 7, batch=code, chaff_g=-1))
    assert [result["status"] for result in results] == ["stored", "stored", "refused"]
    assert "chaff_g" in results[2]["reason"]
    assert bench.client.get(f"/api/batches/{code}").get_json()["entries"][-1]["body"] == {"chaff_g": 120.0}
    record = bench.client.get(f"/batches/{code}").text
    assert "Chaff 120 g" in record
    assert shiftable("chaffed")


def test_a_row_alone_gives_the_roles(bench: Bench, toy: Kind):
    """A device without the row's role is refused, and cannot undo such an entry either."""
    assert "chaffed" in refused_to(OPERATE)
    assert "chaffed" not in refused_to(DECIDE)
    code = bench.open()
    said = bench.entry("chaffed", 5, batch=code, chaff_g=120.0)
    undo = bench.entry("undo", 6, batch=code, entry=said["id"])

    def status(role, entry: dict[str, object]) -> str:
        answer = browser(bench, role).post("/api/entries", json={"entries": [entry]})
        return answer.get_json()["results"][0]["status"]

    assert [status(OPERATE, said), status(DECIDE, said), status(OPERATE, undo), status(OWN, undo)] == [
        "refused",
        "stored",
        "refused",
        "stored",
    ]


def test_a_row_alone_is_in_the_description(toy: Kind):
    """The API description has its body, its subjects and its role."""
    schemas = description()["components"]["schemas"]
    assert schemas["Chaffed"]["required"] == ["chaff_g"]
    (entry,) = [each for each in schemas["Entry"]["oneOf"] if each["properties"]["kind"]["const"] == "chaffed"]
    assert entry["properties"]["about"]["pattern"] == "^(batch .+|machine .+)$"
    assert "decide" in entry["description"]


def test_an_undo_and_a_shift_know_a_new_kind(toy: Kind):
    """Undo and shift work for a new kind without further code."""
    said = parse_entry(raw(kind="chaffed", body={"chaff_g": 4}), received_ms=0)
    shift = parse_entry(raw(kind="shift", body={"entry": str(said.id), "by_s": -5}), received_ms=0)
    undo = parse_entry(raw(kind="undo", body={"entry": str(said.id)}), received_ms=0)
    batch = fold([said, shift, undo], "B")
    assert (batch.lines[0].shifted_s, batch.lines[0].undone) == (-5, True)
    assert tell(next(line for line in batch.lines if line.kind == "undo"), batch, {}) == "Undone: “Chaff 4 g”"


def raw(**changes: object) -> dict[str, object]:
    """An entry of a batch as received."""
    plain = {"id": str(uuid4()), "machine": "drum-4", "batch": "B", "kind": "note", "at_ms": 1_790_000_000_000}
    return {**plain, "body": {"text": "x"}, **changes}


def test_every_row_fits_its_name_and_its_subjects():
    """Each name is that of its row; each subject exists; each page is a known one."""
    for name, row in REGISTRY.items():
        assert row.name == name
        assert set(row.about) <= set(SUBJECTS)
        assert row.about
        assert set(row.erasable) | set(row.confidential) <= set(row.body.model_fields)


def test_no_correction_can_contain_erasable_fields():
    """A subject with erasable fields allows no correction, because a correction repeats fields."""
    apart = {subject for row in REGISTRY.values() if row.erasable for subject in row.about}
    assert apart == {"person", "customer"}
    assert not apart & set(REGISTRY["amend"].about)


@pytest.mark.parametrize("text", ["house", "lot HU-7", "lot HU 7", "batch 26332-01C", "machine drum-4", "person 3f2a"])
def test_a_subject_is_read_and_written_alike(text: str):
    """The text of a subject parses to the subject, which formats to that text."""
    assert str(Subject.parse(text)) == text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is about one of"),
        ("kitchen sink", "not “kitchen”"),
        ("lot", "Name the lot"),
        ("lot  ", "Name the lot"),
        ("house upstairs", "house has no name"),
        ("lot " + "x" * 201, "at most 200"),
        ("lot a\nb", "plain text"),
    ],
)
def test_a_subject_that_cannot_be_is_reported(text: str, words: str):
    """An invalid subject is refused with a message."""
    with pytest.raises(EntryRefused, match=words):
        Subject.parse(text)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"about": "lot HU-7", "batch": None, "kind": "weighed", "body": {"roasted_g": 1}},
            "belongs to batch, not to lot",
        ),
        ({"about": "lot HU-7"}, "two subjects"),
        ({"about": {"lot": "HU-7"}}, "two subjects"),
        ({"about": "house", "batch": None, "kind": "set", "body": {"units_temp": "K"}}, "units_temp"),
        ({"about": "house", "batch": None, "kind": "set", "body": {"stall_c_per_min": 99}}, "from 0.1 to 10"),
        ({"about": "house", "batch": None, "kind": "set", "body": {"colour": "red"}}, "colour"),
        ({"about": "machine drum-4", "batch": None, "kind": "set_up", "body": {"sheet": {"id": "drum-4"}}}, "name"),
    ],
)
def test_invalid_subject_is_refused_by_name(changes: dict[str, object], words: str):
    """A kind that does not fit its subject, two subjects at once, and an unknown setting are refused by name."""
    with pytest.raises(EntryRefused, match=words):
        parse_entry(raw(**changes), received_ms=0)


def test_a_batch_may_be_named_either_way():
    """An entry with machine and batch, as phones have always sent, equals one with about."""
    old = parse_entry(raw(id=(ident := str(uuid4()))), received_ms=0)
    changes = {"batch": None, "machine": None, "about": "batch B"}
    new = parse_entry(raw(id=ident, **changes), received_ms=0)
    assert (old.about, old.batch, new.batch) == ("batch B", "B", "B")
    assert old.model_dump(mode="json")["batch"] == "B"
    assert old.model_copy(update={"machine": None}) == new


def newer(kind: str, about: str, **body: object) -> Entry:
    """An entry that only a newer version could have written."""
    return Entry.model_construct(id=uuid4(), about=about, machine=None, kind=kind, at_ms=1, received_ms=1, body=body)


def test_entries_of_a_newer_version_do_not_disturb_the_fold():
    """An unknown kind, subject, word or field is kept as a line, shown as from a newer version."""
    opened = parse_entry(raw(kind="opened", batch=None, body={"coffee": "Alder"}), received_ms=0)
    more = opened.model_copy(update={"body": {"coffee": "Alder", "blend": True}})
    sung, cooled = newer("sung", "batch B", tune="x"), newer("moment", "batch B", moment="cooled")
    batch = fold([more, sung, cooled, newer("undo", "batch B", entry=str(sung.id))], "B")
    assert (batch.state, batch.facts.coffee, dict(batch.moments)) == ("open", "Alder", {})
    told = {line.kind: tell(line, batch, {}) for line in batch.lines}
    assert told["sung"] == "From a newer version of Drumside: sung"
    assert told["moment"] == "From a newer version of Drumside: moment"
    assert fold_lot([newer("cupped", "lot HU-7", score=88)], "HU-7").facts is None
    assert [line.kind for line in lines_of([newer("poured", "session 3", cups=5)])] == ["poured"]


def test_every_kind_of_subject_but_the_house_has_a_name():
    """Each kind of subject except the house needs a name."""
    assert set(SUBJECTS) - set(NAMED) == {"house"}


def test_the_docs_list_every_kind_of_the_registry():
    """docs/entries.md matches the registry."""
    assert kinds_table.PATH.read_text(encoding="utf-8") == kinds_table.text(), "run make words"
