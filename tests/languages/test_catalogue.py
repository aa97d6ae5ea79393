"""Each language has every message, complete; `make words` updates its file."""

import ast
import re
from collections import Counter
from string import Formatter

import pytest

from roastlog.languages import SOURCE, known
from tests.languages import extract

LANGUAGES = [language for language in known() if language != SOURCE]


@pytest.fixture(scope="module")
def messages() -> set[object]:
    """Every message of the code, the pages and the scripts."""
    return {message.id for message in extract.extracted() if message.id}


def test_no_message_of_a_script_is_missing(messages: set[object]):
    """Babel misses messages inside template strings of scripts; a regular expression finds them."""
    found = {message if isinstance(message, str) else message[0] for message in messages}  # type: ignore[index]
    for path in (extract.ROOT / "static/js").rglob("*.js"):
        for said in re.findall(r"\bt[n]?\(\s*\"((?:[^\"\\]|\\.)*)\"", path.read_text(encoding="utf-8")):
            assert said in found, f"{path.name}: take “{said}” out of the template string around it"


def test_no_message_of_the_code_is_missing(messages: set[object]):
    """Babel misses messages inside f-strings (before Python 3.12); Python's own parser finds them all."""
    found = {message if isinstance(message, str) else message[0] for message in messages}  # type: ignore[index]
    for path in (extract.ROOT / "roastlog").rglob("*.py"):
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in extract.KEYWORDS:
                match call.args:
                    case [ast.Constant(value=str(said)), *_]:
                        assert said in found, f"{path.name}: take “{said}” out of the f-string around it"


def fields(message: str) -> Counter[tuple[str, str]]:
    """Number of uses of each field of a message, with its format."""
    if "{" not in message or '{"' in message:
        return Counter()
    return Counter((name, form or "") for _, name, form, _ in Formatter().parse(message) if name)


def test_there_are_messages_and_a_second_language(messages: set[object]):
    """There are some hundred messages, and German among the languages."""
    assert len(messages) > 500
    assert "de" in LANGUAGES


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_language_has_every_message_and_no_other(language: str, messages: set[object]):
    """No message is missing, empty, fuzzy or obsolete."""
    read = {message.id: message for message in extract.known(language) if message.id}
    assert not messages - read.keys(), f"not in {language}.po yet; run make words: {messages - read.keys()}"
    assert not read.keys() - messages, f"nobody says these any more; run make words: {read.keys() - messages}"
    assert not [name for name, message in read.items() if message.fuzzy or not all(extract.forms_of(message.string))]


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_translation_keeps_the_fields_and_holds_no_markup(language: str):
    """A translation has the same fields with the same formats, no markup, and no stray space at the ends."""
    for message in extract.known(language):
        if not message.id:
            continue
        *_, english = extract.forms_of(message.id)  # one form may omit the number
        wanted = fields(english)
        for said in extract.forms_of(message.string):
            left_out = wanted - fields(said)
            assert not fields(said) - wanted, (english, said)
            assert not left_out or (isinstance(message.id, tuple) and left_out.keys() == {("n", "")}), (english, said)
            assert set(said) & set("<>") <= set(english), said
            assert (said[:1].isspace(), said[-1:].isspace()) == (english[:1].isspace(), english[-1:].isspace()), said


@pytest.mark.parametrize("language", LANGUAGES)
def test_few_translations_equal_the_english(language: str):
    """A translation that equals the English text is one of these few shared words."""
    same = {
        message.id
        for message in extract.known(language)
        if message.id and message.id == message.string and " " in message.id
    }
    shared = {"Modbus at {host}:{port}", "Aroma: {words}", "Crack {vigour}", "in {time}", "{channel}, °/min"}
    shared.add("▲ offline")
    assert same <= shared, same
