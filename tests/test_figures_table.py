"""The table of figures: a run adds a row under its own headings, with its floors, and changes no other."""

from pathlib import Path

import pytest

from tests.bench import record
from tests.bench.report import Figure

ECHO = [
    Figure("tap to echo on the same page, p50", 30.42, "ms", 29.9),
    Figure("tap to echo on the same page, p95", 131.1, "ms", 36.9),
]


@pytest.fixture
def page(tmp_path: Path) -> Path:
    """A copy of the page of figures."""
    copy = tmp_path / "figures.md"
    copy.write_bytes(record.PATH.read_bytes())
    return copy


def rows(page: Path) -> list[list[str]]:
    """The cells of each line of the tables."""
    lines = page.read_text(encoding="utf-8").splitlines()
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("|")]


def test_headings_are_those_of_the_columns(page: Path):
    """Each table has the command's headings, in order, and each row has as many cells."""
    heads = [row for row in rows(page) if row[0] == "date"]
    assert [head[4:] for head in heads] == [[c.heading for c in columns] for columns in record.TABLES.values()]
    assert {len(row) for row in rows(page)} == {len(head) for head in heads}


def test_a_run_is_the_last_row_of_its_table(page: Path):
    """Measured values are in their columns with floors, missing ones are dashes; no other line changes."""
    before = page.read_text(encoding="utf-8").splitlines()
    record.add_row(ECHO, "a | b", page)
    after = page.read_text(encoding="utf-8").splitlines()
    (added,) = [line for line in after if line not in before]
    assert [line for line in after if line != added] == before
    head = next(row for row in rows(page) if "echo, ms" in row)
    row = dict(zip(head, [cell.strip() for cell in added.strip("|").split("|")], strict=True))
    assert row["what changed"] == "a / b"
    assert row["echo, ms"] == "30.4/131 (29.9/36.9)"
    assert row["second page, ms"] == record.NOTHING
    assert after.index(added) < after.index("## Resource use")
