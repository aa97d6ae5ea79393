"""docs/entries.md, generated from the registry; `make words` writes it."""

from roastlog.journal.kinds import REGISTRY
from roastlog.journal.kinds.base import Kind
from tests.checkout import ROOT

PATH = ROOT / "docs" / "entries.md"
HEAD = """# Kinds of entries

The kinds of entries, their subjects, and the roles that they need. `make words` generates this page from `roastlog/journal/kinds/`, and a test compares it; the API's own description (`/api/openapi.json`) has the bodies with their limits.

An entry names its subject by `about`: `batch 26332-01C`, `lot HU-7`, `machine drum-4`, `person 3f2a9c10`, or `house`. An entry of a batch may name it by `machine` and `batch` instead; `opened` names its machine, and its answer the batch. An undo, a shift or a correction needs its own role and that of the entry that it changes.

| kind | subjects | body | least role | time can be shifted | pages |
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
