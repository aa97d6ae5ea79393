"""docs/glossary.md is the source of the interface's words: no text uses a word that it replaces."""

import re
from typing import Final, NamedTuple

import pytest

from roastlog.journal.vocabulary import STAGE_LETTERS
from tests.languages import extract

GLOSSARY: Final = extract.ROOT / "docs" / "glossary.md"
COLUMNS: Final = 5


class Term(NamedTuple):
    """A row of the glossary."""

    english: str
    german: str
    meaning: str
    instead_of: tuple[str, ...]
    statt: tuple[str, ...]


def _terms() -> list[Term]:
    rows = [line.strip("|").split("|") for line in GLOSSARY.read_text(encoding="utf-8").splitlines() if line[:1] == "|"]
    assert {len(row) for row in rows} == {COLUMNS}
    cells = [[cell.strip() for cell in row] for row in rows]
    return [
        Term(english, german, meaning, _words(instead_of), _words(statt))
        for english, german, meaning, instead_of, statt in cells
        if english not in {"English", "---"}
    ]


def _words(cell: str) -> tuple[str, ...]:
    return tuple(word.strip() for word in cell.split(";") if word.strip())


TERMS: Final = _terms()
INSTEAD_OF: Final = {word for term in TERMS for word in term.instead_of}
STATT: Final = {word for term in TERMS for word in term.statt}


def banned(text: str, words: set[str]) -> set[str]:
    """The words of a list that a text uses: whole words, and one with a capital letter only as it is written."""
    return {
        word
        for word in words
        if re.search(rf"(?<!\w){re.escape(word)}(?!\w)", text, re.IGNORECASE if word.islower() else 0)
    }


@pytest.mark.parametrize(
    ("text", "words", "found"),
    [
        ("slap as the beans fall in", INSTEAD_OF, {"slap"}),
        ("Keep weight", INSTEAD_OF, {"Keep"}),
        ("This screen may keep awake", INSTEAD_OF, set()),
        ("It is Kept here", INSTEAD_OF, {"kept"}),
        ("Keepsake, slapdash", INSTEAD_OF, set()),
        ("Gewicht behalten", STATT, {"behalten"}),
        ("Gewicht speichern", STATT, set()),
    ],
)
def test_a_replaced_word_is_found(text: str, words: set[str], found: set[str]):
    """A replaced word is found in a text as a whole word, and a part of another word is not."""
    assert banned(text, words) == found


def test_each_word_has_one_row():
    """The glossary has some dozens of rows, and none twice."""
    english = [term.english for term in TERMS]
    assert len(english) > 50
    assert len(english) == len(set(english))


def test_no_text_uses_a_replaced_word():
    """No English message uses a word of “Instead of”, and no German one a word of “Statt”."""
    found: dict[str, set[str]] = {}
    for message in extract.known("de"):
        if not message.id:
            continue
        for texts, words in ((message.id, INSTEAD_OF), (message.string, STATT)):
            found |= {text: used for text in extract.forms_of(texts) if (used := banned(text, words))}
    assert not found, found


def test_a_word_of_the_glossary_has_its_translation():
    """A message that is exactly a word of the glossary has the German that stands beside it."""
    catalogue = extract.known("de")
    known = {term.english: term.german for term in TERMS if term.english in catalogue}
    assert len(known) > 40
    assert {english: catalogue[english].string for english in known} == known


def test_letters_of_the_trier_are_distinct_in_each_language():
    """Letters of the trier's colours differ within a language, since colour is not the only sign."""
    letters = {term.english: term.german for term in TERMS if len(term.english) == 1}
    assert letters.keys() == set(STAGE_LETTERS.values())
    assert len(set(letters.values())) == len(STAGE_LETTERS)
