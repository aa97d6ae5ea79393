"""docs/entries.md, generated from the registry; `make words` writes it."""

from roastlog.journal.kinds import REGISTRY
from roastlog.journal.kinds.base import Kind
from tests.checkout import ROOT

PATH = ROOT / "docs" / "entries.md"
HEAD = """# Kinds of entries

What can be said, of what, and by whom. `make words` makes this page from `roastlog/journal/kinds/`, and a test compares it; bodies with their limits are in the API's own description (`/api/openapi.json`).

An entry names its subject by `about`: `batch 26332-01C`, `lot HU-7`, `machine drum-4`, `person 3f2a9c10`, or `house`. An entry of a batch may name it by `machine` and `batch` instead; `opened` names its machine, and its answer the batch. An undo, a shift or a correction asks for its own role and for that of the entry that it is about.

| kind | said of | body | least role | time can be moved | pages |
|---|---|---|---|---|---|
"""  # noqa: E501 - a paragraph of the page


def text() -> str:
    """The whole page."""
    return HEAD + "".join(f"{_row(kind)}\n" for kind in REGISTRY.values())


def write() -> None:
    """Update the page."""
    PATH.write_text(text(), encoding="utf-8")


def _row(kind: Kind) -> str:
    fields = ", ".join(f"`{name}`" for name in kind.body.model_fields) or "–"
    moved, pages = "yes" if kind.shiftable else "no", ", ".join(kind.pages) or "–"
    return f"| `{kind.name}` | {', '.join(kind.about)} | {fields} | {kind.least} | {moved} | {pages} |"
