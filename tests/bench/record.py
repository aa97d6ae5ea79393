"""Adds the figures of a run to docs/figures.md as rows, so that a loss is visible beside the change that caused it."""

import os
import subprocess
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, NamedTuple

from tests.bench.report import Figure
from tests.bench.running import ROOT

PATH: Final = ROOT / "docs" / "figures.md"
NOTHING: Final = "–"


class Column(NamedTuple):
    """One column of the tables: its heading, and the names of its figures."""

    heading: str
    names: tuple[str, ...]


# With two names, the cell has the median and the 95th percentile: 12/34 (10/31).
TABLES: Final[Mapping[str, tuple[Column, ...]]] = {
    "Response times": (
        Column("start, s", ("command to /healthz",)),
        Column("first tap, ms", ("first tap possible, page never seen",)),
        Column("again, ms", ("first tap possible, page opened again",)),
        Column("live page, ms", ("live page with moving numbers",)),
        Column("record's chart, ms", ("record with its chart",)),
        Column("layout shift", ("largest layout shift of the three",)),
        Column("echo, ms", ("tap to echo on the same page, p50", "tap to echo on the same page, p95")),
        Column("second page, ms", ("tap to a second page, p50", "tap to a second page, p95")),
        Column("20 watchers, ms", ("tap to 20 watchers, p50", "tap to 20 watchers, p95")),
        Column("list, ms", ("archive: a page of the list",)),
        Column("record, ms", ("archive: a record's page",)),
        Column("compare 200, s", ("comparing with 200 batches, the usual among it",)),
    ),
    "Resource use": (
        Column("live page, ms CPU", ("server time a live page in minute 15",)),
        Column("pushed reading, µs", ("server time a pushed reading (12 a push)",)),
        Column("recorded reading, µs", ("recorder a reading (12 and a commit a second)",)),
        Column("main thread at 4×, %", ("main thread busy in minute 15, CPU 4× slower",)),
        Column("memory, MB", ("resident memory after a batch with 20 watchers",)),
        Column("10 simulated minutes, ms", ("10 simulated minutes",)),
    ),
}


def add_row(figures: Sequence[Figure], title: str, path: Path = PATH) -> None:
    """Add a row to each table that has a figure of this run; a cell without a figure stays empty."""
    known = {figure.name: figure for figure in figures}
    load = os.getloadavg()[1] if hasattr(os, "getloadavg") else float("nan")
    about = (datetime.now(UTC).strftime("%Y-%m-%d"), _commit(), title.replace("|", "/"), f"{load:.1f}")
    lines = path.read_text(encoding="utf-8").splitlines()
    for heading, columns in TABLES.items():
        cells = [_cell([known[name] for name in column.names if name in known]) for column in columns]
        if set(cells) == {NOTHING}:
            continue
        lines.insert(_end_of(lines, heading), f"| {' | '.join([*about, *cells])} |")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _cell(figures: Sequence[Figure]) -> str:
    """Values, and in brackets the floors measured in the same run."""
    if not figures:
        return NOTHING
    values = "/".join(_number(figure.value) for figure in figures)
    floors = "/".join(_number(figure.floor) for figure in figures if figure.floor is not None)
    return f"{values} ({floors})" if floors else values


def _number(value: float) -> str:
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}"


def _end_of(lines: Sequence[str], heading: str) -> int:
    """Position after the last row of the table under a heading."""
    at = lines.index(f"## {heading}")
    rows = [place for place in range(at, len(lines)) if lines[place].startswith("|")]
    nexts = [place for place in range(at + 1, len(lines)) if lines[place].startswith("## ")]
    return 1 + max(place for place in rows if not nexts or place < nexts[0])


def _commit() -> str:
    """The measured commit, with a mark if the tree differs from it."""

    def git(*words: str) -> str:
        return subprocess.run(["git", *words], cwd=ROOT, capture_output=True, text=True, check=True).stdout.strip()

    return git("rev-parse", "--short", "HEAD") + ("+" if git("status", "--porcelain", "--untracked-files=no") else "")
