"""The words that people read, in their language. English stands in the code; each other language is a `.po` file here.

    raise NoSuchLot(_("Lot {code} is not in the books.", code=code))

`_` gives the sentence in the language of whoever is being answered. It is a `Said`: it remembers what it was made of,
and can be said again to somebody else: what a thread of the recorder says in English reaches a German phone in German.
What stands at the top of a module, where nobody is answered yet, is marked by `N_` and said by `_`, or by the page.

Fields are written as in `str.format`; a float gets the decimal sign of the language. What is stored is never said here:
words of a person stay as they are, and names of moments, stages and states are stored by their keys.
"""

import string
from collections.abc import Callable, Iterable, Mapping
from contextvars import ContextVar
from datetime import datetime
from typing import Any

from roastlog.languages.catalogue import SOURCE, Catalogue, known, load, name_of

__all__ = [
    "N_",
    "SOURCE",
    "Catalogue",
    "Said",
    "_",
    "catalogue",
    "current",
    "date",
    "decimal",
    "joined",
    "known",
    "name_of",
    "ngettext",
    "numeral",
    "said",
    "use",
]

Message = str | tuple[str, str, int]  # or one, many, and the number that chooses

_language: ContextVar[str] = ContextVar("language", default=SOURCE)
_found: dict[str, Catalogue] = {}


class Said(str):
    """A sentence, in the language of whoever it was said to first, and what it was made of."""

    __slots__ = ("fields", "message")
    fields: Mapping[str, Any]
    message: Message

    @classmethod
    def of(cls, message: Message, fields: Mapping[str, Any]) -> "Said":
        """A message with its fields, said now."""
        made = cls(_said(message, fields))
        made.message, made.fields = message, fields
        return made

    def again(self) -> str:
        """The same, in the language of whoever is answered now."""
        return _said(self.message, self.fields)

    def __deepcopy__(self, memo: object) -> "Said":
        """Itself: nothing in it changes."""
        return self


def _(message: str, **fields: object) -> str:
    """A message in the language of whoever is answered now."""
    return Said.of(message.message, message.fields) if isinstance(message, Said) else Said.of(message, fields)


def said(message: str, **fields: object) -> str:
    """A message that was marked by `N_`, with its fields, in the language of whoever is answered now."""
    return Said.of(message.message if isinstance(message, Said) else message, fields)


def joined(separator: str, parts: Iterable[str]) -> str:
    """Several sentences or words in one, which can be said again as each of them can."""
    fields = {f"part{number}": part for number, part in enumerate(parts)}
    return Said.of(separator.join(f"{{{name}}}" for name in fields), fields)


def numeral(value: float, form: str = "g") -> str:
    """A number alone, which can be said again with another decimal sign."""
    return Said.of(f"{{number:{form}}}", {"number": float(value)})


def N_(message: str) -> str:  # noqa: N802 - gettext's own name for it
    """A message that is said later: in English as yet, for nobody is answered."""
    made = Said(message)
    made.message, made.fields = message, {}
    return made


def ngettext(one: str, many: str, n: int, **fields: object) -> str:
    """A message of which the number ``n`` chooses the form; ``n`` is a field of it."""
    return Said.of((one, many, n), {"n": n, **fields})


def use(language: str) -> None:
    """Answer in a language from here on, in this thread."""
    _language.set(language)


def current() -> str:
    """The language that is answered in."""
    return _language.get()


def catalogue(language: str = "") -> Catalogue:
    """The catalogue of a language, by default of the one that is answered in; read once, when first asked for."""
    language = language or _language.get()
    if language not in _found:
        _found[language] = load(language)
    return _found[language]


def decimal(text: str) -> str:
    """A number written with a decimal point, with the decimal sign of the language."""
    return text.replace(".", catalogue().decimal)


def date(when: datetime, english: str, form: str) -> str:
    """A date as the language has it (CLDR, by Babel); English stands in the code, as all of it does.

    The form is one of CLDR's lengths, or a skeleton such as ``MMMEd``.
    """
    if current() == SOURCE:
        return english
    from babel.dates import format_date, format_skeleton  # noqa: PLC0415 - English does without

    locale = current().replace("-", "_")
    if form in {"long", "medium"}:
        return format_date(when, form, locale)
    return format_skeleton(form, when, locale=locale)


def filled(text: str, fields: Mapping[str, object], safe: Callable[[Any], str] = str) -> str:
    """A text with its fields, each of which goes through ``safe``."""
    return _Filler(catalogue().decimal, safe).vformat(text, (), fields) if fields else text


def found(message: Message) -> str:
    """A message in the language that is answered in, without its fields."""
    words = catalogue()
    return words.single(message) if isinstance(message, str) else words.plural(*message)


class _Filler(string.Formatter):
    def __init__(self, decimal_sign: str, safe: Callable[[Any], str]) -> None:
        self._decimal, self._safe = decimal_sign, safe

    def format_field(self, value: Any, format_spec: str) -> str:  # noqa: ANN401
        if isinstance(value, Said):
            value = value.again()
        if isinstance(value, float):
            value = format(value, format_spec).replace(".", self._decimal)
        elif format_spec:
            value = format(value, format_spec)
        return self._safe(value)


def _said(message: Message, fields: Mapping[str, Any]) -> str:
    return filled(found(message), fields)
