"""Catalogues of messages, read from `.po` files on first use.

There are no compiled files: a language is read at most once per run.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Final, Literal

SOURCE: Final = "en"
FOLDER: Final = Path(__file__).parent


@dataclass(frozen=True)
class Catalogue:
    """One language.

    Attributes
    ----------
    language
        Its code.
    singles, plurals
        Translations by English message; all forms for plurals.
    form
        Plural form by number.
    in_scripts
        Messages of browser scripts.
    decimal, direction
        Decimal separator, and `ltr` or `rtl`.
    """

    language: str = SOURCE
    singles: Mapping[str, str] = field(default_factory=dict)
    plurals: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    form: Callable[[int], int] = lambda n: int(n != 1)
    in_scripts: Mapping[str, str | tuple[str, ...]] = field(default_factory=dict)
    decimal: str = "."
    direction: Literal["ltr", "rtl"] = "ltr"

    def single(self, message: str) -> str:
        """Translation of a message; falls back to English."""
        return self.singles.get(message, message)

    def plural(self, one: str, many: str, n: int) -> str:
        """Translation of a message for a number; falls back to English."""
        forms = self.plurals.get(one)
        return forms[self.form(n)] if forms else (one if n == 1 else many)


@cache
def known() -> tuple[str, ...]:
    """The available languages, English first."""
    return (SOURCE, *sorted(path.stem for path in FOLDER.glob("*.po")))


@cache
def name_of(language: str) -> str:
    """Name of a language in that language, without reading its `.po` file."""
    if language == SOURCE:
        return "English"
    from babel.core import Locale  # noqa: PLC0415

    return Locale.parse(language, sep="-").get_display_name() or language


def load(language: str) -> Catalogue:
    """Read a language; Babel is imported here because most runs do not need it."""
    if language == SOURCE:
        return Catalogue()
    from gettext import c2py  # noqa: PLC0415

    from babel.core import Locale  # noqa: PLC0415
    from babel.messages.pofile import read_po  # noqa: PLC0415

    with (FOLDER / f"{language}.po").open("rb") as file:
        read = read_po(file, locale=language)
    singles: dict[str, str] = {}
    plurals: dict[str, tuple[str, ...]] = {}
    in_scripts: dict[str, str | tuple[str, ...]] = {}
    for message in read:
        forms = tuple(map(str, message.string if isinstance(message.string, tuple) else (message.string or "",)))
        if not message.id or message.fuzzy or not all(forms):
            continue
        key = message.id if isinstance(message.id, str) else message.id[0]
        if isinstance(message.id, str):
            singles[key] = forms[0]
        else:
            plurals[key] = forms
        if any(place.endswith(".js") for place, _ in message.locations):
            in_scripts[key] = singles.get(key) or plurals[key]
    locale = Locale.parse(language, sep="-")
    return Catalogue(
        language=language,
        singles=singles,
        plurals=plurals,
        form=c2py(read.plural_expr),
        in_scripts=in_scripts,
        decimal=locale.number_symbols["latn"]["decimal"],
        direction="rtl" if locale.character_order == "right-to-left" else "ltr",
    )
