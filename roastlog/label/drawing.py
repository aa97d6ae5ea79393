"""Text lines and filled boxes in millimetres, which the PDF, the print page and the label printer draw alike."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from roastlog.label.fonts import face

MM_PER_INCH = 25.4

Corner = tuple[float, float]


@dataclass(frozen=True)
class TextLine:
    """One line of text; ``x_mm`` is its left end, ``baseline_mm`` its baseline, from the label's corner."""

    part: str
    text: str
    x_mm: float
    baseline_mm: float
    size_mm: float
    bold: bool

    @property
    def width_mm(self) -> float:
        """Width of the line."""
        return face(bold=self.bold).width_em(self.text) * self.size_mm

    @property
    def x_height_mm(self) -> float:
        """Height of a small x."""
        return face(bold=self.bold).x_height_em * self.size_mm

    @property
    def figure_height_mm(self) -> float:
        """Height of the lowest figure."""
        return face(bold=self.bold).figure_height_em * self.size_mm


class Box(NamedTuple):
    """A filled rectangle; white if it has no ink."""

    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float
    ink: bool = True


class Drawing(NamedTuple):
    """Boxes in the order in which they are drawn, then lines."""

    boxes: Sequence[Box]
    lines: Sequence[TextLine]


def whole_dots(length_mm: float, dpi: int) -> float:
    """The length as a whole number of printer dots. [mm]"""
    return round(length_mm * dpi / MM_PER_INCH) * MM_PER_INCH / dpi
