"""Batch codes such as ``26330-04M``: year, day of the year, the day's number and a check character.

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
    r"L?(?P<digits>(?P<year>\d\d)(?P<day>\d{3})(?P<number>\d\d|[1-9]\d{2,3}))(?P<check>[0-9A-Z])", re.ASCII
)
_BETWEEN = re.compile(r"[\s\u2010-\u2015\u2212-]+")  # spaces, and all dashes that a phone may substitute for a hyphen
_LOOK = N_("A code looks like 26330-04M: year, day of the year, number of the day, and a check character.")


@dataclass(frozen=True)
class BatchCode:
    """A parsed code. ``code`` is the canonical form for storage and print."""

    code: str
    year2: int
    day_of_year: int
    number: int

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
    if not 1 <= number <= 9999:
        raise NotACode(_("Batch number of a day must be 1–9999, not {number}.", number=number))
    digits = f"{day:%y%j}{number:02d}"
    return f"{digits[:5]}-{digits[5:]}{check_character(digits)}"


def parse_code(text: str) -> BatchCode:
    """Parse a typed code; spaces, lower case, a missing hyphen and a leading L are accepted.

    The last character is always the check, so a digit there is never read as part of the number.

    Raises
    ------
    MistypedCode
        If the format is valid but the check character is wrong.
    NotACode
        If the format is not that of a batch code, or the year has no such day.
    """
    match = _FORM.fullmatch(_BETWEEN.sub("", text).upper())
    if match is None:
        raise NotACode(_("This is not a batch code. {look}", look=_LOOK))
    if check_character(match["digits"]) != match["check"]:
        raise MistypedCode(_("This code is mistyped. Check it on the bag; 0 and O, 1 and I look alike."))
    parsed = BatchCode(
        code=f"{match['year']}{match['day']}-{match['number']}{match['check']}",
        year2=int(match["year"]),
        day_of_year=int(match["day"]),
        number=int(match["number"]),
    )
    if parsed.number == 0 or parsed.day_of_year == 0 or parsed.day.year != 2000 + parsed.year2:
        raise NotACode(_("No batch can have this code: the day or the number does not exist. {look}", look=_LOOK))
    return parsed
