"""Extracts all messages of the code, the pages and the scripts, and updates the `.po` files."""

import argparse
import sys
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

from roastlog import __version__
from roastlog.languages.catalogue import FOLDER, name_of
from tests.journal import kinds_table

ROOT = Path(__file__).parents[2]
PLACES = (("roastlog", "**.py", "python"), ("templates", "**.html", "jinja2"), ("static/js", "**.js", "javascript"))
KEYWORDS = {"_": None, "N_": None, "t": None, "ngettext": (1, 2), "tn": (1, 2)}
WIDTH = 120


def extracted() -> Catalog:
    """Every message, with the files that contain it."""
    found = Catalog(project="Drumside", charset="utf-8", fuzzy=False)
    for folder, pattern, method in PLACES:
        options = {pattern: {"encoding": "utf-8", "parse_template_string": "true"}}
        for name, _, message, _, _ in extract_from_dir(
            ROOT / folder, [(pattern, method)], options, KEYWORDS, strip_comment_tags=True
        ):
            found.add(message, locations=[(f"{folder}/{name}", 1)])
    return found


def known(language: str) -> Catalog:
    """The messages of a catalogue file."""
    with (FOLDER / f"{language}.po").open("rb") as file:
        return read_po(file, locale=language)


def update(language: str) -> int:
    """Update the file of a language: new messages empty, old ones removed. Returns the number of empty ones."""
    catalogue, messages = known(language), extracted()
    messages.creation_date = catalogue.creation_date  # the file changes only if a message does
    catalogue.update(messages, no_fuzzy_matching=True)
    catalogue.obsolete.clear()
    catalogue.fuzzy, catalogue.project, catalogue.version = False, "Drumside", __version__
    catalogue.msgid_bugs_address = catalogue.last_translator = catalogue.language_team = ""
    if "FIRST AUTHOR" in catalogue.header_comment:
        catalogue.header_comment = f"# Drumside in {name_of(language)}. The words of the trade first:\n#"
    with (FOLDER / f"{language}.po").open("wb") as file:
        write_po(file, catalogue, width=WIDTH, include_lineno=False, sort_by_file=True)
    return sum(not all(forms_of(message.string)) for message in catalogue if message.id)


def forms_of(said: object) -> tuple[str, ...]:
    """All forms of a message; a single one without a plural."""
    return tuple(said) if isinstance(said, (list, tuple)) else (str(said or ""),)


def main() -> None:
    """`make words`: every language, or a new one that is named; and docs/entries.md."""
    parser = argparse.ArgumentParser(description="Bring the files in roastlog/languages up to date with the messages.")
    parser.add_argument("new", nargs="?", help="the code of a language that is begun, such as fr")
    new = parser.parse_args().new
    if new:
        (FOLDER / f"{new}.po").touch(exist_ok=False)
    for path in sorted(FOLDER.glob("*.po")):
        print(f"{path.name}: {update(path.stem)} messages to translate")
    kinds_table.write()


if __name__ == "__main__":
    sys.exit(main())
