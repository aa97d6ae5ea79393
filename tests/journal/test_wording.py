"""Wording of journal lines."""

from uuid import uuid4

import pytest

from roastlog.journal.entries import Entry
from roastlog.journal.fold import fold
from roastlog.journal.kinds.corrections import change_text
from roastlog.journal.vocabulary import MOMENT_LABELS, MOMENTS, STAGE_LABELS, STAGES
from roastlog.journal.wording import FLAG_WORDS, tell
from tests.journal.test_fold import entry

CONTROLS = {"radiant": "Radiant"}
GAP = "\N{NARROW NO-BREAK SPACE}"


@pytest.mark.parametrize(
    ("kind", "body", "text"),
    [
        ("opened", {}, "Batch opened"),
        (
            "opened",
            {"coffee": "Alder washed", "lot": "HU-7", "green_g": 4000, "intent": "filter"},
            "Batch opened · Alder washed · HU-7 · 4.00 kg green · for filter",
        ),
        ("opened", {"plan": {"development_s": 80}}, "Batch opened · development 1:20"),
        ("opened", {"plan": {"development_ratio": 0.13}}, "Batch opened · development 13%"),
        ("moment", {"moment": "first_crack"}, "First crack"),
        ("move", {"control": "radiant", "setting": 4}, "Radiant to 4"),
        ("move", {"control": "radiant", "setting": 3.5}, "Radiant to 3.5"),
        ("move", {"control": "gone", "setting": 3}, "gone to 3"),
        ("trier", {"stage": "light_brown"}, "Trier: light brown"),
        ("trier", {"stage": "tan", "words": ["even", "dry"]}, "Trier: tan, even, dry"),
        ("aroma", {"words": ["toast", "malt"]}, "Aroma: toast, malt"),
        ("crack", {"vigour": "violent"}, "Crack sounds violent"),
        ("note", {"text": "Smoke at the hatch."}, "Smoke at the hatch."),
        ("weighed", {"roasted_g": 3432}, f"Weighed 3{GAP}432 g"),
        ("weighed", {"roasted_g": 3432, "removed_g": 12}, f"Weighed 3{GAP}432 g · 12 g defects"),
        ("weighed", {"roasted_g": 950, "removed_g": 0}, "Weighed 950 g"),
        ("colour", {"value": 62.5, "scale": "our cards", "sample": "ground"}, "Colour 62.5 on our cards, ground"),
        ("released", {"decision": "release"}, "Released"),
        ("released", {"decision": "hold", "reason": "to be cupped"}, "Held back: to be cupped"),
        ("released", {"decision": "reject"}, "Rejected"),
    ],
)
def test_each_kind_has_a_short_wording(kind: str, body: dict, text: str):
    """A line is short, without trailing zeros and without its time."""
    batch = fold([entry(kind, **body)], "B")
    assert tell(batch.lines[0], batch, CONTROLS) == text


def told(*entries: Entry) -> str:
    """The wording of the last entry of a batch."""
    batch = fold(entries, "B")
    return tell(next(line for line in batch.lines if line.id == entries[-1].id), batch, CONTROLS)


def test_an_undo_quotes_the_undone_entry():
    """An undo quotes the undone entry; so does an undo of an undo."""
    crack = entry("moment", 10, moment="first_crack")
    undo = entry("undo", 11, entry=str(crack.id))
    assert told(crack, undo) == "Undone: “First crack”"
    assert told(crack, undo, entry("undo", 12, entry=str(undo.id))) == "Undone: an undo"


def test_a_shift_says_by_how_much():
    """A shift shows its sign, with a true minus."""
    charge = entry("moment", 0, moment="charge")
    assert told(charge, entry("shift", 1, entry=str(charge.id), by_s=-10)) == "Shifted “Charge” by −10 s"
    assert told(charge, entry("shift", 1, entry=str(charge.id), by_s=2.5)) == "Shifted “Charge” by +2.5 s"


def test_an_amendment_names_the_corrected_fields():
    """Each corrected field is named; a cleared one is shown as none."""
    opened = entry("opened", 0, coffee="Alder washed", intent="filter")
    body = {"coffee": "Night Ferry", "green_g": 3900.0, "intent": None, "plan": {"development_s": 75}}
    text = told(opened, entry("amend", 1, entry=str(opened.id), body=body))
    assert text.startswith("Corrected “Batch opened · Night Ferry")
    assert text.endswith(": coffee Night Ferry, green weight 3900, no for, plan development 1:15")


def test_an_entry_about_a_missing_one_says_so():
    """An entry about a missing one says so; the missing one may still arrive."""
    for kind, body in (("undo", {}), ("shift", {"by_s": 5}), ("amend", {"body": {"text": "x"}})):
        assert "a missing entry" in told(entry(kind, 0, entry=str(uuid4()), **body))


def test_an_entry_about_itself_does_not_go_round():
    """An entry about itself gets a plain line and no endless loop."""
    ident = uuid4()
    assert told(entry("undo", 0, ident=ident, entry=str(ident))) == "Undone: a missing entry"


@pytest.mark.parametrize(
    ("name", "value", "text"),
    [
        ("roasted_g", 3400.0, "roasted g 3400"),
        ("words", ["toast", "malt"], "words toast, malt"),
        ("plan", None, "no plan"),
        ("plan", {}, "no plan"),
        ("plan", "soon", "plan soon"),
        ("lot", "HU-7", "lot HU-7"),
    ],
)
def test_a_corrected_field_reads_plainly(name: str, value: object, text: str):
    """Any corrected field is worded, even an invalid one."""
    assert change_text(name, value) == text


def test_an_invalid_correction_is_worded_too():
    """A correction that arrived before its entry and does not fit must not break the page of the batch."""
    opened = entry("opened", 0)
    for plan in ("soon", 3, ["x"], {"development_s": "x"}, {"development_ratio": "half"}, {"x": 1}):
        amend = entry("amend", 1, entry=str(opened.id), body={"plan": plan})
        batch = fold([opened, amend], "B")
        assert batch.lines[0].flags == ("amend_unfit",)
        assert tell(batch.lines[1], batch, CONTROLS).startswith("Corrected “Batch opened”")


def test_every_word_has_its_wording():
    """Each kind, moment, stage and flag has its own wording."""
    assert set(MOMENT_LABELS) == {*MOMENTS, "turning_point"}
    assert set(STAGE_LABELS) == set(STAGES)
    assert all(FLAG_WORDS.values())
