"""Batch codes: the check character against external sources, and tolerant parsing."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from roastlog.errors import MistypedCode, NotACode
from roastlog.trace.codes import ALPHABET, batch_code, check_character, parse_code

days = st.dates(date(2000, 1, 1), date(2099, 12, 31))
numbers = st.integers(1, 9999)
bodies = st.text(ALPHABET, min_size=1, max_size=24)


def test_published_example():
    """The GRid example A1-2425G-ABC1234002-M checks out (as quoted in python-stdnum 2.2's documentation)."""
    assert check_character("A12425GABC1234002") == "M"


@given(bodies)
def test_agrees_with_an_independent_implementation(body: str):
    """Every check character equals that of python-stdnum (stdnum.iso7064.mod_37_36)."""
    assert check_character(body) == mod_37_36.calc_check_digit(body)


@given(bodies, st.data())
def test_every_single_wrong_character_is_caught(body: str, data: st.DataObject):
    """Changing any single character, including the check, makes the check fail, by our own sum."""
    whole = body + check_character(body)
    place = data.draw(st.integers(0, len(whole) - 1))
    other = data.draw(st.sampled_from([c for c in ALPHABET if c != whole[place]]))
    wrong = whole[:place] + other + whole[place + 1 :]
    assert check_character(wrong[:-1]) != wrong[-1]


def test_swaps_are_caught_but_for_the_known_few():
    """Of all swaps of different neighbours in a year's codes, only pairs of consecutive digits pass."""
    swaps, missed = 0, []
    for day in range(1, 366):
        for number in range(1, 60):
            digits = f"26{day:03d}{number:02d}"
            whole = digits + check_character(digits)
            for i in range(len(whole) - 1):
                a, b = whole[i], whole[i + 1]
                if a == b:
                    continue
                swaps += 1
                swapped = whole[:i] + b + a + whole[i + 2 :]
                if check_character(swapped[:-1]) == swapped[-1]:
                    missed.append((a, b))
    assert len(missed) / swaps < 0.005
    assert {abs(int(a) - int(b)) for a, b in missed} == {1}


def test_the_share_of_swaps_that_slip_through():
    """Over every state of the sum and every pair, 36 of 22 680 swaps pass, counted from the standard's recursion."""
    after = {(state, c): ((state + c) % 36 or 36) * 2 % 37 for state in range(1, 37) for c in range(36)}
    pairs = [(state, a, b) for state in range(1, 37) for a in range(36) for b in range(a)]
    missed = [1 for state, a, b in pairs if after[after[state, a], b] == after[after[state, b], a]]
    assert (len(missed), len(pairs)) == (36, 22680)


def test_a_code_of_a_day():
    """26 November 2026 is day 330; the check of 2633004 is M (python-stdnum)."""
    assert batch_code(date(2026, 11, 26), 4) == "26330-04M"


@given(days, numbers)
def test_a_code_is_read_back(day: date, number: int):
    """parse_code inverts batch_code, whether the check is a letter or a digit."""
    code = batch_code(day, number)
    parsed = parse_code(code)
    assert (parsed.code, parsed.day, parsed.number) == (code, day, number)


@given(days, numbers, st.data())
def test_typing_is_forgiven(day: date, number: int, data: st.DataObject):
    """Spaces anywhere, small letters, any or no hyphen and a leading L change nothing."""
    code = batch_code(day, number)
    typed = code.replace("-", data.draw(st.sampled_from(["", "-", " - ", "–", "‑"])))
    place = data.draw(st.integers(0, len(typed)))
    typed = data.draw(st.sampled_from(["", "L", "l ", " L-"])) + typed[:place] + " " + typed[place:]
    assert parse_code(data.draw(st.sampled_from([typed, typed.lower()]))).code == code


@given(days, numbers, st.data())
def test_a_wrong_digit_is_mistyped_not_unknown(day: date, number: int, data: st.DataObject):
    """One wrong digit is reported as a typing mistake, without a suggested code."""
    code = batch_code(day, number)
    place = data.draw(st.sampled_from([i for i in (0, 1, 2, 3, 4, 7, 8) if code[i].isdigit() and i < len(code) - 1]))
    other = data.draw(st.sampled_from([c for c in "0123456789" if c != code[place]]))
    wrong = code[:place] + other + code[place + 1 :]
    with pytest.raises(MistypedCode) as caught:
        parse_code(wrong)
    assert "26" not in str(caught.value)


def test_a_digit_for_a_check_is_no_part_of_the_number():
    """With a digit as the check, the number before it keeps its two digits."""
    code = next(
        batch_code(date(2026, 11, 25), n) for n in range(1, 99) if batch_code(date(2026, 11, 25), n)[-1].isdigit()
    )
    assert parse_code(code).number == int(code[6:8])


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "L",
        "-",
        "26330",
        "26330-4M",
        "26330-004M",
        "2633O-04M",
        "26330-04",
        "hello",
        "٢٦330-04M",
        "<b>",
        "X26330-04M",
    ],
)
def test_other_text_is_no_code(text: str):
    """Other text is refused with the format of codes."""
    with pytest.raises(NotACode, match="26330-04M"):
        parse_code(text)


@pytest.mark.parametrize(
    ("digits", "good"),
    [("2836601", True), ("2636601", False), ("2600001", False), ("2640001", False), ("2633000", False)],
)
def test_impossible_days_and_numbers_are_refused(digits: str, good: bool):
    """Day 366 exists only in leap years; day 0, day 400 and number 0 are invalid, even with a correct check."""
    text = digits + check_character(digits)
    if good:
        assert parse_code(text).day == date(2028, 12, 31)
    else:
        with pytest.raises(NotACode):
            parse_code(text)


@pytest.mark.parametrize("number", [0, -1, 10000])
def test_numbers_out_of_range(number: int):
    """A number too large for a code is refused when the code is made."""
    with pytest.raises(NotACode, match="1–9999"):
        batch_code(date(2026, 11, 25), number)


def test_strange_characters_have_no_check():
    """Characters outside 0–9 and A–Z are refused."""
    with pytest.raises(NotACode):
        check_character("26330a")
