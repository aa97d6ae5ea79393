"""Translation of all texts that people read. English is in the code; each other language is a `.po` file here.

    raise NoSuchLot(_("There is no lot {code}.", code=code))

`_` translates a message into the language of the current reader. The result is a `Message`: it keeps its message id
and fields and can be translated again, so that an English text from a recorder thread reaches a German phone in German.
Module-level texts, which have no reader yet, are marked by `N_` and translated by `_` or by the page.

Fields are written as in `str.format`; a float gets the decimal separator of the language. Stored data is never
translated: a person's words stay unchanged, and moments, stages and states are stored by their keys.
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
    "Message",
    "MessageId",
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
    "translate",
    "use",
]

MessageId = str | tuple[str, str, int]  # the English text; or singular, plural and the number

_language: ContextVar[str] = ContextVar("language", default=SOURCE)
_loaded: dict[str, Catalogue] = {}


class Message(str):
    """A translated text that keeps its message id and fields."""

    __slots__ = ("fields", "msgid")
    fields: Mapping[str, Any]
    msgid: MessageId

    @classmethod
    def of(cls, msgid: MessageId, fields: Mapping[str, Any]) -> "Message":
        """Translate a message id with its fields."""
        message = cls(_translated(msgid, fields))
        message.msgid, message.fields = msgid, fields
        return message

    def translated(self) -> str:
        """The same text in the language of the current reader."""
        return _translated(self.msgid, self.fields)

    def __deepcopy__(self, memo: object) -> "Message":
        """Itself, because it is immutable."""
        return self


def _(message: str, **fields: object) -> str:
    """Translate a message for the current reader."""
    return Message.of(message.msgid, message.fields) if isinstance(message, Message) else Message.of(message, fields)


def translate(message: str, **fields: object) -> str:
    """Translate a message that was marked by `N_`, for the current reader."""
    return Message.of(message.msgid if isinstance(message, Message) else message, fields)


def joined(separator: str, parts: Iterable[str]) -> str:
    """Join several texts into one that can be translated again."""
    fields = {f"part{number}": part for number, part in enumerate(parts)}
    return Message.of(separator.join(f"{{{name}}}" for name in fields), fields)


def numeral(value: float, form: str = "g") -> str:
    """A number as a text that can be translated again, with its decimal separator."""
    return Message.of(f"{{number:{form}}}", {"number": float(value)})


def N_(message: str) -> str:  # noqa: N802 - gettext's own name for it
    """Mark a message for translation later; returns the English text."""
    marked = Message(message)
    marked.msgid, marked.fields = message, {}
    return marked


def ngettext(one: str, many: str, n: int, **fields: object) -> str:
    """Translate a message in the plural form for ``n``, which is also a field of it."""
    return Message.of((one, many, n), {"n": n, **fields})


def use(language: str) -> None:
    """Set the language of this thread."""
    _language.set(language)


def current() -> str:
    """The language of this thread."""
    return _language.get()


def catalogue(language: str = "") -> Catalogue:
    """The catalogue of a language, by default the current one; read once, on first use."""
    language = language or _language.get()
    if language not in _loaded:
        _loaded[language] = load(language)
    return _loaded[language]


def decimal(text: str) -> str:
    """Replace the decimal point of a number with the language's decimal separator."""
    return text.replace(".", catalogue().decimal)


def date(when: datetime, english: str, form: str) -> str:
    """A date in the format of the language (CLDR, by Babel); the English format is given in the code.

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
    """Fill in the fields of a text, each value passed through ``safe``."""
    return _Filler(catalogue().decimal, safe).vformat(text, (), fields) if fields else text


def translation(msgid: MessageId) -> str:
    """Translate a message id into the current language, its fields not filled in."""
    words = catalogue()
    return words.single(msgid) if isinstance(msgid, str) else words.plural(*msgid)


class _Filler(string.Formatter):
    def __init__(self, decimal_sign: str, safe: Callable[[Any], str]) -> None:
        self._decimal, self._safe = decimal_sign, safe

    def format_field(self, value: Any, format_spec: str) -> str:  # noqa: ANN401
        if isinstance(value, Message):
            value = value.translated()
        if isinstance(value, float):
            value = format(value, format_spec).replace(".", self._decimal)
        elif format_spec:
            value = format(value, format_spec)
        return self._safe(value)


def _translated(msgid: MessageId, fields: Mapping[str, Any]) -> str:
    return filled(translation(msgid), fields)
