"""Coverage of the labels' typeface, and line breaking."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.label.fonts import BOX, ELLIPSIS, face, normalize, wrap

names = st.text(min_size=1, max_size=120).map(normalize).filter(bool)


@pytest.mark.parametrize(
    "text", ["Señorita café", "Žluťoučký kůň", "Ærø", "Việt Nam", "Ελλάδα", "Привет", "½ – … · “x”"]
)
@pytest.mark.parametrize("bold", [False, True])
def test_scripts_of_the_typeface(text: str, *, bold: bool):
    """Latin with Czech and Vietnamese, Greek, Cyrillic and the signs of labels are supported."""
    assert face(bold=bold).displayable(text) == text


def test_missing_characters_become_boxes():
    """A missing character, such as Han, becomes a box, never a blank; the box itself is supported."""
    assert face(bold=True).displayable("日本 Alder") == f"{BOX}{BOX} Alder"
    assert face(bold=True).has(BOX)
    assert face(bold=False).has(BOX)


@given(st.text(max_size=60), st.booleans())
def test_shown_is_showable_and_no_wider(text: str, bold: bool):
    """Any typed text is drawn in existing glyphs and no wider than measured."""
    look = face(bold=bold)
    drawn = look.displayable(normalize(text))
    assert all(look.has(character) for character in drawn)
    assert look.width_em(drawn) <= look.width_em(normalize(text)) + 1e-9


@given(st.text(max_size=60))
def test_tidy_is_one_clean_line(text: str):
    """Tidying gives one line without control characters and is idempotent."""
    assert normalize(normalize(text)) == normalize(text)
    assert len(normalize(text).splitlines()) <= 1
    assert normalize("e\u0301\n\x00a\u200b") == "é a"


@given(names, st.floats(3, 40), st.integers(1, 4))
def test_lines_fit(text: str, width_em: float, most: int):
    """No line is wider and there are no more lines than allowed, and nothing is dropped without an ellipsis."""
    lines, whole = wrap(text, width_em, most, bold=False)
    assert 1 <= len(lines) <= most
    assert all(face(bold=False).width_em(line) <= width_em + 1e-9 for line in lines)
    if whole:
        assert " ".join(lines) == text
    elif not lines[-1].endswith(ELLIPSIS):
        assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_words_stay_whole_where_they_can():
    """Lines break preferably at spaces."""
    width = face(bold=False).width_em("Alder washed")
    assert wrap("Alder washed natural", width, 2, bold=False) == (["Alder washed", "natural"], True)
