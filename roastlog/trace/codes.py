"""Codes of batches, blends and packs.

A batch has ``26330-04M``: year, day of the year, the day's number and a check character. A blend has an M before the
number, for mixed, as in ``26330-M05M``; no code is both. A pack has its source's code and a number: ``26330-04M-1``.

The check character follows ISO/IEC 7064, MOD 37-36. It detects every single wrong character, and nearly every swap of
two neighbours: it misses 36 of the 22 680 cases (state of the sum × pair), 0.16 %, each a pair of consecutive values
such as 4 and 5 [computed; the tests count them].
"""

import re
from dataclasses import dataclass
from datetime import date, timedelta

from roastlog.errors import MistypedCode, NotACode
from roastlog.languages import N_, _

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_FORM = re.compile(
    r"L?(?P<year>\d\d)(?P<day>\d{3})(?P<mixed>M?)(?P<number>\d\d|[1-9]\d{2,3})(?P<check>[0-9A-Z])", re.ASCII
)
_PACK = re.compile(r"(?P<source>.+)[\u2010-\u2015\u2212-]\s*(?P<number>[1-9]\d{0,3})", re.ASCII)
_BETWEEN = re.compile(r"[\s\u2010-\u2015\u2212-]+")  # spaces, and all dashes that a phone may substitute for a hyphen
_LOOK = N_("A code looks like 26330-04M: year, day of the year, number of the day, and a check character.")


@dataclass(frozen=True)
class BatchCode:
    """A parsed code of a batch or a blend. ``code`` is the canonical form for storage and print."""

    code: str
    year2: int
    day_of_year: int
    number: int
    mixed: bool = False

    @property
    def day(self) -> date:
        """Date in the code; two-digit years are 2000 to 2099."""
        return date(2000 + self.year2, 1, 1) + timedelta(days=self.day_of_year - 1)


def check_character(text: str) -> str:
    """Check character of a string of digits and capital letters, by ISO/IEC 7064 MOD 37-36.

    Raises
    ------
    NotACode
        If the text contains anything except 0 to 9 and A to Z.
    """
    running = 36
    for character in text:
        value = ALPHABET.find(character)
        if value < 0:
            raise NotACode(_("A code has only digits and capital letters, not {character}.", character=repr(character)))
        running = ((running + value) % 36 or 36) * 2 % 37
    return ALPHABET[(1 - running) % 36]


def batch_code(day: date, number: int) -> str:
    """Code of a day's batch, numbered from 1; a number above 99 takes more digits.

    Raises
    ------
    NotACode
        If the number is not within 1 to 9999.
    """
    return _code(day, "", number)


def blend_code(day: date, number: int) -> str:
    """Code of a day's blend, numbered from 1, as `batch_code` makes that of a batch."""
    return _code(day, "M", number)


def pack_code(source: str, number: int) -> str:
    """Code of a pack: that of the batch or blend that it was filled from, and a number from 1."""
    return f"{source}-{number}"


def parse_code(text: str) -> BatchCode:
    """Parse a typed code of a batch; spaces, lower case, a missing hyphen and a leading L are accepted.

    The last character is always the check, so a digit there is never read as part of the number.

    Raises
    ------
    MistypedCode
        If the format is valid but the check character is wrong.
    NotACode
        If the format is not that of a batch code, or the year has no such day.
    """
    parsed = parse_source(text)
    if parsed.mixed:
        raise NotACode(_("{code} is the code of a blend, not of a batch.", code=parsed.code))
    return parsed


def parse_source(text: str) -> BatchCode:
    """Parse a typed code of a batch or a blend, as `parse_code` does."""
    match = _FORM.fullmatch(_BETWEEN.sub("", text).upper())
    if match is None:
        raise NotACode(_("This is not a batch code. {look}", look=_LOOK))
    day, mixed, number = f"{match['year']}{match['day']}", match["mixed"], match["number"]
    if check_character(f"{day}{mixed}{number}") != match["check"]:
        raise MistypedCode(_("This code is mistyped. Check it on the bag; 0 and O, 1 and I look alike."))
    parsed = BatchCode(
        code=f"{day}-{mixed}{number}{match['check']}",
        year2=int(match["year"]),
        day_of_year=int(match["day"]),
        number=int(number),
        mixed=bool(mixed),
    )
    if parsed.number == 0 or parsed.day_of_year == 0 or parsed.day.year != 2000 + parsed.year2:
        raise NotACode(_("No batch can have this code: the day or the number does not exist. {look}", look=_LOOK))
    return parsed


def parse_pack(text: str) -> str:
    """The canonical code of a pack as typed. Its hyphen before the number is required; else as `parse_code`.

    Raises
    ------
    MistypedCode, NotACode
        If the code of its batch or blend is wrong, or it has no number.
    """
    match = _PACK.fullmatch(text.strip())
    if match is None:
        raise NotACode(_("A pack has the code of its batch or blend and a number, such as 26330-04M-1."))
    return pack_code(parse_source(match["source"]).code, int(match["number"]))


def _code(day: date, mixed: str, number: int) -> str:
    if not 1 <= number <= 9999:
        raise NotACode(_("Batch number of a day must be 1–9999, not {number}.", number=number))
    return f"{day:%y%j}-{mixed}{number:02d}{check_character(f'{day:%y%j}{mixed}{number:02d}')}"
