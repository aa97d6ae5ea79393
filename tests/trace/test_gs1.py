"""GS1: check digits and addresses against the golden examples, and read back by biip and python-stdnum."""

import csv
from datetime import date
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from biip.gs1_digital_link_uris import GS1DigitalLinkURI
from biip.gs1_messages import GS1Message
from biip.gtin import Gtin
from hypothesis import given
from hypothesis import strategies as st
from stdnum import ean

from roastlog.errors import CodeError, MistypedCode, NotACode
from roastlog.trace.gs1 import (
    CHARACTERS_82,
    GTIN_LENGTHS,
    LONGEST_MARK,
    TradeItem,
    check_digit,
    digital_link,
    element_string,
    parse_gtin,
    readable,
)

GOLDEN = Path(__file__).parents[1] / "golden"
GTIN = "4006381333931"

bodies = st.sampled_from(GTIN_LENGTHS).flatmap(
    lambda length: st.text("0123456789", min_size=length - 1, max_size=length - 1).filter(lambda body: body.strip("0"))
)
marks = st.text(CHARACTERS_82, max_size=LONGEST_MARK).filter(lambda mark: mark not in {".", ".."})
days = st.none() | st.dates(date(2000, 1, 1), date(2070, 12, 31))  # biip reads two digits as 49 years back to 50 ahead
items = st.builds(
    TradeItem,
    gtin=bodies.map(lambda body: body + check_digit(body)),
    lot=marks,
    serial=marks,
    best_before=days,
    use_by=days,
    packed_on=days,
    net_g=st.none() | st.integers(1, 999_999),
)


def rows(name: str) -> list[dict[str, str]]:
    """Rows of a golden table."""
    lines = (line for line in (GOLDEN / name).read_text(encoding="utf-8").splitlines() if not line.startswith("#"))
    return list(csv.DictReader(lines))


@pytest.mark.parametrize("row", rows("gs1_check_digits.csv"), ids=lambda row: row["full"])
def test_check_digits_of_the_examples(row: dict[str, str]):
    """Each example of the golden table has its check digit, and the weighted sum that the table gives leads to it."""
    assert row["body"] + check_digit(row["body"]) == row["full"] == parse_gtin(row["full"])
    if row["weighted_sum"]:
        assert (int(row["weighted_sum"]) + int(row["full"][-1])) % 10 == 0


@given(bodies)
def test_check_digits_agree_with_other_implementations(body: str):
    """python-stdnum computes the same digit, and biip takes the whole number."""
    digit = check_digit(body)
    assert digit == ean.calc_check_digit(body)
    assert Gtin.parse(body + digit).value == body + digit


@given(bodies, st.data())
def test_every_single_wrong_digit_is_caught(body: str, data: st.DataObject):
    """Changing any one digit of a GTIN makes it a mistyped one."""
    whole = body + check_digit(body)
    place = data.draw(st.integers(0, len(whole) - 1))
    other = data.draw(st.sampled_from([digit for digit in "0123456789" if digit != whole[place]]))
    wrong = whole[:place] + other + whole[place + 1 :]
    with pytest.raises(CodeError):  # of zeros only, or mistyped
        parse_gtin(wrong)


@pytest.mark.parametrize("typed", ["4 006381 333931", "400-638-133-3931", "4006381\u20113 33931"])
def test_spaces_and_hyphens_between_digits_are_ignored(typed: str):
    """A GTIN may be typed as it stands under the bars."""
    assert parse_gtin(typed) == GTIN


@pytest.mark.parametrize("row", rows("gs1_digital_links.csv"), ids=lambda row: row["gtin"])
def test_addresses_of_the_examples(row: dict[str, str]):
    """Each example address is made of its parts."""
    use_by = date.fromisoformat(row["use_by"]) if row["use_by"] else None
    item = TradeItem(row["gtin"], row["lot"], row["serial"], use_by=use_by)
    assert digital_link("https://id.gs1.org", item) == row["address"]


def test_address_of_a_bag():
    """A short GTIN is padded, a slash in the lot is encoded, and the server's address may have a path of its own."""
    item = TradeItem("73513537", "L26/330+04", best_before=date(2027, 5, 6), net_g=250)
    wanted = "/01/00000073513537/10/L26%2F330%2B04?15=270506&3103=000250"
    for base in ("https://coffee.example", "http://192.168.178.24:8443/", "https://coffee.example/r/hZ3kQ9vT1xYbN7wL"):
        assert digital_link(base, item) == base.rstrip("/") + wanted
    assert digital_link("https://coffee.example", TradeItem("73513537")) == "https://coffee.example/01/00000073513537"


def said(item: TradeItem) -> dict[str, object]:
    """The parts of an item that biip should find, by identifier."""
    parts = {
        "01": item.gtin14, "10": item.lot, "21": item.serial, "13": item.packed_on, "15": item.best_before,
        "17": item.use_by, "3103": None if item.net_g is None else f"{item.net_g:06d}",
    }  # fmt: skip
    return {identifier: part for identifier, part in parts.items() if part}


def found(elements) -> dict[str, object]:
    """The parts that biip found, by identifier; dates as dates."""
    return {element.ai.ai: element.date or element.value for element in elements}


@given(items)
def test_addresses_are_read_back(item: TradeItem):
    """The package biip reads each part of any item from its address, and nothing else."""
    link = digital_link("https://coffee.example/r/token", item)
    read = GS1DigitalLinkURI.parse(link)
    assert found(read.element_strings) == said(item)
    assert urlsplit(link).path.startswith("/r/token/01/")
    assert link.isascii()


@given(items)
def test_element_strings_are_read_back(item: TradeItem):
    """The package biip reads each part from the element string, and writes the same text for people."""
    read = GS1Message.parse(element_string(item))
    assert found(read.element_strings) == said(item)
    assert read.as_hri() == readable(item)


def test_net_weight_is_in_kilograms():
    """250 g read back by biip are 0.250 kg."""
    (weight,) = (
        element
        for element in GS1Message.parse(element_string(TradeItem(GTIN, net_g=250))).element_strings
        if element.ai.ai == "3103"
    )
    assert float(weight.decimal) == 0.25


def test_character_set_has_82_characters():
    """Set 82 has 82 different characters; space, `#`, `$`, `@`, `[` and `~` are none of them [memory]."""
    assert len(set(CHARACTERS_82)) == 82
    assert not set(" #$@[]\\^`{|}~") & set(CHARACTERS_82)


@pytest.mark.parametrize(
    ("parts", "error", "words"),
    [
        ({"gtin": "4006381333932"}, MistypedCode, "last digit does not fit"),
        ({"gtin": "400638133393"}, MistypedCode, "mistyped"),
        ({"gtin": "40063813339"}, NotACode, "8, 12, 13 or 14 digits"),
        ({"gtin": ""}, NotACode, "8, 12, 13 or 14 digits"),
        ({"gtin": "4006381 33393A"}, NotACode, "8, 12, 13 or 14 digits"),
        ({"gtin": "٤006381333931"}, NotACode, "8, 12, 13 or 14 digits"),
        ({"gtin": "0000000000000"}, NotACode, "zeros only"),
        ({"lot": "Lot 17"}, NotACode, "Lot mark: .* Remove ' ' from 'Lot 17'"),
        ({"lot": "Žluťoučký"}, NotACode, "Remove 'Žťčý'"),
        ({"lot": "L" * 21}, NotACode, "GS1 allows 20 characters; 'L+' has 21"),
        ({"serial": "#1"}, NotACode, "Serial number"),
        ({"net_g": 0}, NotACode, "1–999999 g"),
        ({"net_g": 1_000_000}, NotACode, "1–999999 g"),
    ],
)
def test_refused_parts_are_named(parts: dict[str, object], error: type[CodeError], words: str):
    """An item with an impossible part is refused in a sentence that names it."""
    with pytest.raises(error, match=words):
        TradeItem(**{"gtin": GTIN, **parts})


@pytest.mark.parametrize(
    ("base", "lot"),
    [
        ("coffee.example", "L1"),
        ("ftp://coffee.example", "L1"),
        ("https://", "L1"),
        ("https://coffee.example?a=1", "L1"),
        ("https://coffee.example#a", "L1"),
        ("https://coffee.example", "."),
        ("https://coffee.example", ".."),
    ],
)
def test_addresses_that_lead_nowhere_are_refused(base: str, lot: str):
    """Neither a base that is no plain web address nor a lot that browsers drop from a path makes a code."""
    with pytest.raises(NotACode):
        digital_link(base, TradeItem(GTIN, lot))


def test_check_digit_is_of_digits():
    """Letters, and digits of other scripts, have no check digit."""
    for body in ("", "12A", "١٢"):
        with pytest.raises(NotACode, match="only digits"):
            check_digit(body)
