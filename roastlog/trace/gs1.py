"""GS1: check digits of GTINs, element strings, and Digital Link addresses of bags.

From the GS1 General Specifications and GS1 Digital Link Standard: URI Syntax 1.2 [memory; of the address, examples and
numeric identifiers verified]. `tests/golden/gs1_*.csv` has the examples with their confidence.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Final
from urllib.parse import quote, urlsplit

from roastlog.errors import MistypedCode, NotACode
from roastlog.languages import _

GTIN_LENGTHS: Final = (8, 12, 13, 14)
LONGEST_MARK: Final = 20  # characters of a lot mark or a serial number
CHARACTERS_82: Final = (
    "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"  # encodable character set 82
)
MOST_NET_G: Final = 999_999  # six digits of grams in identifier 3103, kilograms with three decimals

_BETWEEN = re.compile(r"[\s\u2010-\u2015\u2212-]+")


def check_digit(body: str) -> str:
    """Check digit of the digits before it: weights 3, 1, 3, 1 … from the right, up to the next ten.

    Raises
    ------
    NotACode
        If the text is not of digits.
    """
    if not (body.isascii() and body.isdigit()):
        raise NotACode(_("A GTIN has only digits, not {text}.", text=repr(body)))
    total = sum(int(digit) * (3, 1)[place % 2] for place, digit in enumerate(reversed(body)))
    return str(-total % 10)


def parse_gtin(text: str) -> str:
    """A typed GTIN of 8, 12, 13 or 14 digits, without spaces and hyphens.

    Raises
    ------
    MistypedCode
        If the check digit is wrong.
    NotACode
        If it is not of so many digits, or all of them are 0.
    """
    digits = _BETWEEN.sub("", text)
    if len(digits) not in GTIN_LENGTHS or not (digits.isascii() and digits.isdigit()):
        raise NotACode(
            _("A GTIN, the number under a bar code, has 8, 12, 13 or 14 digits; {text} is none.", text=repr(text))
        )
    if not digits.strip("0"):
        raise NotACode(_("A GTIN of zeros only belongs to no product."))
    if check_digit(digits[:-1]) != digits[-1]:
        raise MistypedCode(_("This GTIN is mistyped: its last digit does not fit the others. Check each digit."))
    return digits


@dataclass(frozen=True)
class TradeItem:
    """A bag as GS1 identifies it. Parts left empty are not said.

    Parameters
    ----------
    gtin : str
        As typed; `parse_gtin` says what is refused.
    lot, serial : str
        At most 20 characters of set 82.
    best_before, use_by, packed_on : date, optional
        Coffee has a best-before date.
    net_g : int, optional
        Net weight, for bags of varying weight. [g]

    Raises
    ------
    MistypedCode, NotACode
        For a part that GS1 does not allow; the message names it.
    """

    gtin: str
    lot: str = ""
    serial: str = ""
    best_before: date | None = None
    use_by: date | None = None
    packed_on: date | None = None
    net_g: int | None = None

    def __post_init__(self) -> None:
        """Check each part."""
        object.__setattr__(self, "gtin", parse_gtin(self.gtin))
        _check_mark(_("Lot mark"), self.lot)
        _check_mark(_("Serial number"), self.serial)
        if self.net_g is not None and not 1 <= self.net_g <= MOST_NET_G:
            raise NotACode(
                _("Net weight must be 1–{most} g for a GS1 code, not {net_g}.", most=MOST_NET_G, net_g=self.net_g)
            )

    @property
    def gtin14(self) -> str:
        """The GTIN with leading zeros, 14 digits."""
        return self.gtin.zfill(14)

    def marks(self) -> Iterator[tuple[str, str]]:
        """Identifiers and values of varying length, in the order of an address."""
        if self.lot:
            yield "10", self.lot
        if self.serial:
            yield "21", self.serial

    def attributes(self) -> Iterator[tuple[str, str]]:
        """Identifiers and values of fixed length other than the GTIN, ascending."""
        for identifier, day in (("13", self.packed_on), ("15", self.best_before), ("17", self.use_by)):
            if day is not None:
                yield identifier, f"{day:%y%m%d}"
        if self.net_g is not None:
            yield "3103", f"{self.net_g:06d}"


def _check_mark(name: str, mark: str) -> None:
    wrong = "".join(dict.fromkeys(c for c in mark if c not in CHARACTERS_82))
    if wrong:
        raise NotACode(
            _(
                "{name}: GS1 allows letters without accents, digits and common signs, no spaces. "
                "Remove {wrong} from {mark}.",
                name=name,
                wrong=repr(wrong),
                mark=repr(mark),
            )
        )
    if len(mark) > LONGEST_MARK:
        raise NotACode(
            _(
                "{name}: GS1 allows {most} characters; {mark} has {count}.",
                name=name,
                most=LONGEST_MARK,
                mark=repr(mark),
                count=len(mark),
            )
        )


def digital_link(base: str, item: TradeItem) -> str:
    """GS1 Digital Link address of an item, for a plain QR code.

    Parameters
    ----------
    base : str
        Address of the server, such as ``https://coffee.example``; it may have a path.
    item : TradeItem
        GTIN, lot and serial number become the path, all else the query.

    Raises
    ------
    NotACode
        If the base is no web address, or a mark of dots only would be lost from the path.
    """
    parts = urlsplit(base)
    if parts.scheme not in {"http", "https"} or not parts.netloc or parts.query or parts.fragment:
        raise NotACode(
            _("The address of a GS1 code must begin like https://coffee.example, not {base}.", base=repr(base))
        )
    for _identifier, mark in item.marks():
        if mark in {".", ".."}:
            raise NotACode(_("An address cannot carry {mark}: browsers drop it. Use another one.", mark=repr(mark)))
    path = "".join(f"/{identifier}/{quote(mark, safe='')}" for identifier, mark in item.marks())
    query = "&".join(f"{identifier}={value}" for identifier, value in item.attributes())
    return f"{base.rstrip('/')}/01/{item.gtin14}{path}{'?' if query else ''}{query}"


def element_string(item: TradeItem) -> str:
    """Element string of an item as a scanner sends it, with a group separator after a mark that is not the last.

    Fixed lengths come first, so that few separators are needed.
    """
    fixed = "".join(f"{identifier}{value}" for identifier, value in item.attributes())
    return f"01{item.gtin14}{fixed}" + "\x1d".join(f"{identifier}{mark}" for identifier, mark in item.marks())


def readable(item: TradeItem) -> str:
    """Element string for people, such as ``(01)09506000134352(15)271231(10)LOT-ABC``."""
    elements = (("01", item.gtin14), *item.attributes(), *item.marks())
    return "".join(f"({identifier}){value}" for identifier, value in elements)
