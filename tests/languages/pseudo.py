"""A pseudo-language that puts every message in brackets: text outside of them was not marked."""

import re
from collections.abc import Iterator
from html.parser import HTMLParser

import pytest

from roastlog import languages
from roastlog.languages import Catalogue
from tests.languages.extract import extracted

CODE = "en-GB"  # a language whose dates Babel knows
_ATTRIBUTES = {"title", "aria-label", "placeholder", "alt", "data-offline", "data-says"}
_SILENT = {"script", "style", "code", "textarea"}


class Bracketed(Catalogue):
    """Each message in brackets."""

    def single(self, message: str) -> str:
        """A message in brackets."""
        return message if re.fullmatch(r"(\{part\d\}|[^\w{}])*", message) else f"⟦{message}⟧"

    def plural(self, one: str, many: str, n: int) -> str:
        """A plural message in brackets."""
        return f"⟦{one if n == 1 else many}⟧"


def speak(monkeypatch: pytest.MonkeyPatch) -> None:
    """Use the pseudo-language for every request."""
    known = languages.known()
    scripts = [message.id for message in extracted() if any(path.endswith(".js") for path, _ in message.locations)]
    in_scripts = {
        said if isinstance(said, str) else said[0]: f"⟦{said}⟧"
        if isinstance(said, str)
        else tuple(f"⟦{one}⟧" for one in said)
        for said in scripts
    }
    monkeypatch.setitem(languages._loaded, CODE, Bracketed(language=CODE, in_scripts=in_scripts))
    monkeypatch.setattr(languages, "known", lambda: (*known, CODE))


class _Texts(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [value for name, value in attrs if name in _ATTRIBUTES and value]
        if tag in _SILENT:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self.open and self.open[-1] == tag:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        if not self.open:
            self.found.append(data)


def plain(text: str) -> str:
    """A text on one line, with single spaces."""
    return " ".join(text.split())


def unmarked(page: str) -> Iterator[tuple[str, str]]:
    """Words outside of brackets, each with its text; URLs are ignored."""
    parser = _Texts()
    parser.feed(page)
    text = "\n".join(plain(one) for one in parser.found if one.strip())
    while (outside := re.sub(r"⟦[^⟦⟧]*⟧", " ", text)) != text:
        text = outside
    for line in map(plain, text.splitlines()):
        for word in re.findall(r"[^\W\d_]{2,}", re.sub(r"https?://\S+", " ", line)):
            yield word, line
