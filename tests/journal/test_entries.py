"""Validation of entries, and the messages of refusals."""

from uuid import uuid4

import pytest

from roastlog.errors import EntryRefused
from roastlog.journal.entries import amended, parse_entry
from roastlog.journal.vocabulary import AROMA_BY_STAGE, AROMA_WORDS, STAGES


def raw(**changes: object) -> dict[str, object]:
    """A valid entry with some fields changed."""
    plain = {"id": str(uuid4()), "machine": "drum-4", "batch": "26330-04T", "kind": "note", "at_ms": 1_790_000_000_000}
    return {**plain, "body": {"text": "smells of bread"}, **changes}


def test_a_sound_entry_is_taken_with_the_time_it_came_in():
    """The server's own time of receipt is used, whatever the client sends."""
    assert parse_entry(raw(), received_ms=5).received_ms == 5


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"id": "seven"}, "id:"),
        ({"kind": "shout"}, "kind must be one of"),
        ({"batch": None}, "which batch"),
        ({"at_ms": -1}, "at_ms"),
        ({"at_ms": "soon"}, "at_ms"),
        ({"body": {"text": ""}}, "text"),
        ({"body": {"text": "x" * 2001}}, "text"),
        ({"body": {"text": "x", "loud": True}}, "loud"),
        ({"kind": "moment", "body": {"moment": "third_crack"}}, "moment"),
        ({"kind": "move", "body": {"control": "radiant", "setting": float("inf")}}, "setting"),
        ({"kind": "move", "body": {"control": "radiant", "setting": float("nan")}}, "setting"),
        ({"kind": "move", "body": {"control": "rad iant", "setting": 1}}, "control"),
        ({"kind": "weighed", "body": {"roasted_g": 0}}, "roasted_g"),
        ({"kind": "weighed", "body": {"roasted_g": -3}}, "roasted_g"),
        ({"kind": "shift", "body": {"entry": str(uuid4()), "by_s": 0}}, "moves nothing"),
        ({"kind": "opened", "body": {"plan": {"development_s": 80, "development_ratio": 0.2}}}, "not both"),
        ({"extra": 1}, "extra"),
    ],
)
def test_refusal_names_the_field(changes: dict[str, object], words: str):
    """The refusal names the field, so that the person can correct it."""
    with pytest.raises(EntryRefused, match=words):
        parse_entry(raw(**changes), received_ms=0)


def test_an_entry_that_is_no_object_is_refused():
    """A list or a number is refused with a description of an entry."""
    with pytest.raises(EntryRefused, match="JSON object"):
        parse_entry([1], received_ms=0)


def test_an_amended_body_is_checked_as_a_whole():
    """A correction that removes a required field is refused."""
    assert amended("weighed", {"roasted_g": 1.0, "removed_g": 0.5}, {"removed_g": None}) == {"roasted_g": 1.0}
    with pytest.raises(EntryRefused, match="roasted_g"):
        amended("weighed", {"roasted_g": 1.0}, {"roasted_g": None})


def test_every_stage_has_aroma_words_of_its_own():
    """The aroma words of a stage are unique; the sheet shows them first."""
    assert set(AROMA_BY_STAGE) == set(STAGES)
    for words in [AROMA_WORDS, *AROMA_BY_STAGE.values()]:
        assert len(words) == len(set(words)) > 0
