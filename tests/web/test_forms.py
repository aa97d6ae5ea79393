"""Typed numbers: a comma or a point, never both; ambiguous ones are rejected."""

import pytest

from roastlog.web.http.forms import Form
from tests.typed import NO_NUMBER, READ, TWO_SIGNS


@pytest.mark.parametrize(("text", "value"), READ.items())
def test_a_comma_or_a_point_is_the_decimal_sign(text: str, value: float):
    """In every language both are accepted; spaces may group thousands."""
    form = Form({"x": text})
    assert (form.number("x"), form.errors) == (value, {})


@pytest.mark.parametrize("text", TWO_SIGNS)
def test_two_signs_are_asked_again(text: str):
    """It could be read in two ways; the message says which sign to omit."""
    form = Form({"x": text})
    assert form.number("x") is None
    assert "more than one comma or point" in form.errors["x"]
    masses = Form({"x": f"{text} kg"})
    assert masses.mass_g("x", "kg") is None
    assert "more than one comma or point" in masses.errors["x"]


@pytest.mark.parametrize("text", NO_NUMBER)
def test_invalid_number_is_reported(text: str):
    """Words, powers, other bases, and misplaced spaces are rejected."""
    form = Form({"x": text})
    assert form.number("x") is None
    assert form.errors["x"] == f"Value must be a number, not “{text}”."


def test_thousandths_of_a_gram_are_asked_again():
    """1,234 g is ambiguous between countries; 1,234 kg and 1,5 g are not."""
    for text, unit in (("1,234", "g"), ("1.234 g", "kg"), ("12,345", "g")):
        form = Form({"x": text})
        assert form.mass_g("x", unit) is None
        assert "may mean a gram or a thousand" in form.errors["x"]
    assert Form({"x": "1,234"}).mass_g("x", "kg") == pytest.approx(1234)
    assert Form({"x": "1,5"}).mass_g("x", "g") == 1.5
    assert Form({"x": "1 234 g"}).mass_g("x", "kg") == 1234
