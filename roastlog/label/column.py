"""The text column of a label: filled from both ends, with the remaining space between them."""

from dataclasses import dataclass, field
from math import floor
from typing import NamedTuple

from roastlog.errors import LabelError
from roastlog.label.drawing import TextLine
from roastlog.label.fonts import ASCENT_EM, LINE_EM, face, wrap
from roastlog.languages import _

NAME_SCALE = 1.1  # of the coffee's name to the small type, at least


class Block(NamedTuple):
    """Lines of one part in one type size; words beside it are the bag's number."""

    part: str
    lines: list[str]
    size_mm: float
    bold: bool = False
    beside: str = ""

    @property
    def height_mm(self) -> float:
        """Height of its lines."""
        return len(self.lines) * LINE_EM * self.size_mm


@dataclass
class Column:
    """The text column: filled from both ends, with the remaining space between them."""

    x_mm: float
    width_mm: float
    top_mm: float
    bottom_mm: float
    small_mm: float
    lines: list[TextLine] = field(default_factory=list)
    shortened: list[str] = field(default_factory=list)

    def rows(self, size_mm: float) -> int:
        """Number of lines of that type size that still fit."""
        return max(0, floor((self.bottom_mm - self.top_mm) / (LINE_EM * size_mm) + 1e-9))

    def add(self, part: str, texts: list[str], size_mm: float, *, bold: bool = False) -> None:
        """Add lines below the top text."""
        for text in texts:
            self.lines.append(TextLine(part, text, self.x_mm, self.top_mm + ASCENT_EM * size_mm, size_mm, bold))
            self.top_mm += LINE_EM * size_mm

    def add_below(self, block: Block) -> None:
        """Add lines above the bottom text; LabelError if they do not fit."""
        if self.bottom_mm - block.height_mm < self.top_mm - 1e-9:
            raise LabelError(
                _(
                    "Dates and weight do not fit on this label ({text}). Choose a larger label or shorter words.",
                    text=repr(" ".join(block.lines)),
                )
            )
        self.bottom_mm -= block.height_mm
        baseline_mm = self.bottom_mm + (ASCENT_EM - LINE_EM) * block.size_mm
        for text in block.lines:
            baseline_mm += LINE_EM * block.size_mm
            line = TextLine(block.part, text, self.x_mm, baseline_mm, block.size_mm, block.bold)
            self.lines.append(line)
            if block.beside:
                x_mm = line.x_mm + line.width_mm + self.small_mm
                self.lines.append(TextLine("count", block.beside, x_mm, baseline_mm, self.small_mm, block.bold))

    def cut(self, part: str, text: str, free_mm: float) -> list[Block]:
        """Small lines of a text as far as they fit into a height; recorded if some is omitted."""
        rows = max(0, floor(free_mm / (LINE_EM * self.small_mm) + 1e-9))
        lines, whole = wrap(text, self.width_mm / self.small_mm, rows, bold=False) if rows else ([], not text)
        if not whole:
            self.shortened.append(part)
        return [Block(part, lines, self.small_mm)] if lines else []

    def fill(self, part: str, text: str, max_lines: int) -> None:
        """Add small text as far as it fits, and record if some is omitted."""
        max_lines = min(max_lines, self.rows(self.small_mm))
        if not text:
            return
        if not max_lines:
            self.shortened.append(part)
            return
        lines, whole = wrap(text, self.width_mm / self.small_mm, max_lines, bold=False)
        if not whole:
            self.shortened.append(part)
        self.add(part, lines, self.small_mm)


def required(part: str, text: str, column: Column, *, bold: bool = False) -> list[Block]:
    """A fact in at most two lines; LabelError if it needs more."""
    lines, _whole = wrap(text, column.width_mm / column.small_mm, 99, bold=bold)
    if len(lines) > 2:
        raise LabelError(
            _(
                "Dates and weight do not fit on this label ({text}). Choose a larger label or shorter words.",
                text=repr(text),
            )
        )
    return [Block(part, lines, column.small_mm, bold)] if lines else []


def across(text: str, column: Column) -> tuple[list[str], float]:
    """A word as wide as the column, if half of its height is enough; and its type size."""
    width_em = face(bold=True).width_em(text)
    return [text], min(column.width_mm / width_em, (column.bottom_mm - column.top_mm) / 2 / LINE_EM)


def place_name(text: str, column: Column, *, spare_mm: float) -> None:
    """Place the coffee's name: as large as two lines allow, then smaller on up to four, then cut."""
    if not text:
        return
    smallest = column.small_mm * NAME_SCALE
    size_mm = column.small_mm * 2.2
    free_mm = max(0.0, column.bottom_mm - column.top_mm - spare_mm)
    while size_mm > smallest:
        most = min(2, floor(free_mm / (LINE_EM * size_mm)))
        lines, whole = wrap(text, column.width_mm / size_mm, most, bold=True) if most else ([], False)
        if whole:
            column.add("coffee", lines, size_mm, bold=True)
            return
        size_mm *= 0.94
    rows = min(4, column.rows(smallest))
    if not rows:
        raise LabelError(_("The coffee's name does not fit on this label. Choose a larger one."))
    lines, _whole = wrap(text, column.width_mm / smallest, rows, bold=True)
    if lines[-1].endswith("…"):
        column.shortened.append("coffee")
    column.add("coffee", lines, smallest, bold=True)
