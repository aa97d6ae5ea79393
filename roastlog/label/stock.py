"""Label stock, rolls and A4 sheets, in millimetres. The name of a stock says all of it: it can be kept as text."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from roastlog.errors import LabelError
from roastlog.languages import N_, _, translate

A4_MM = (210.0, 297.0)
LEAST_MM, MOST_MM = 15.0, 300.0  # width and height of a label
MOST_ACROSS = 40  # columns or rows of a sheet

TOO_WIDE = N_(
    "These labels are {needed_mm:g} mm wide together, with margin and gaps; the page is {page_mm:g} mm wide. "
    "Measure the sheet again."
)
TOO_HIGH = N_(
    "These labels are {needed_mm:g} mm high together, with margin and gaps; the page is {page_mm:g} mm high. "
    "Measure the sheet again."
)

_NUMBER = r"([0-9]{1,3}(?:\.[0-9]{1,2})?)"
_PAIR = f"{_NUMBER}x{_NUMBER}"
_ROLL = re.compile(_PAIR)
_A4 = re.compile(rf"a4-{_PAIR}-([0-9]{{1,2}})x([0-9]{{1,2}})-{_PAIR}-{_PAIR}")


@dataclass(frozen=True)
class LabelSize:
    """One label of a roll, or a page of labels. Lengths in millimetres."""

    name: str
    title: str
    width_mm: float
    height_mm: float
    page_mm: tuple[float, float]
    columns: int = 1
    rows: int = 1
    first_mm: tuple[float, float] = (0.0, 0.0)
    pitch_mm: tuple[float, float] = (0.0, 0.0)
    edge_mm: tuple[float, float] = (1.5, 1.0)
    dpi: int = 203

    @property
    def per_page(self) -> int:
        """Labels on a page."""
        return self.columns * self.rows

    def corner_mm(self, place: int) -> tuple[float, float]:
        """Upper left corner of a label position on the page, numbered from 0 along the rows."""
        row, column = divmod(place, self.columns)
        return self.first_mm[0] + column * self.pitch_mm[0], self.first_mm[1] + row * self.pitch_mm[1]


def roll(width_mm: float, height_mm: float) -> LabelSize:
    """A roll of labels, one a page, for a printer of 203 dots per inch unless told otherwise.

    Raises
    ------
    LabelError
        If no label can be that small or large.
    """
    width_mm, height_mm = _checked(width_mm, height_mm)
    title = _("Roll, {width_mm:g} × {height_mm:g} mm", width_mm=width_mm, height_mm=height_mm)
    return LabelSize(f"{width_mm:g}x{height_mm:g}", title, width_mm, height_mm, (width_mm, height_mm))


def sheet(
    width_mm: float,
    height_mm: float,
    *,
    columns: int,
    rows: int,
    margin_mm: tuple[float, float],
    gap_mm: tuple[float, float] = (0.0, 0.0),
) -> LabelSize:
    """An A4 sheet of labels.

    Parameters
    ----------
    width_mm, height_mm : float
        One label.
    columns, rows : int
        Labels across and down.
    margin_mm : tuple of float
        From the left and the top edge of the paper to the first label.
    gap_mm : tuple of float
        Between two columns and between two rows.

    Raises
    ------
    LabelError
        If the labels do not fit on the page; the message says by how much.
    """
    width_mm, height_mm = _checked(width_mm, height_mm)
    if not (1 <= columns <= MOST_ACROSS and 1 <= rows <= MOST_ACROSS):
        raise LabelError(_("A sheet has 1–{most} columns and rows of labels.", most=MOST_ACROSS))
    left, top, gap_x, gap_y = (round(length, 2) for length in (*margin_mm, *gap_mm))
    if min(left, top, gap_x, gap_y) < 0:
        raise LabelError(_("Margins and gaps of a sheet are 0 mm or more."))
    _check_fit(left + columns * width_mm + (columns - 1) * gap_x, A4_MM[0], TOO_WIDE)
    _check_fit(top + rows * height_mm + (rows - 1) * gap_y, A4_MM[1], TOO_HIGH)
    return LabelSize(
        f"a4-{width_mm:g}x{height_mm:g}-{columns}x{rows}-{left:g}x{top:g}-{gap_x:g}x{gap_y:g}",
        _(
            "A4 sheet, {columns} × {rows} labels of {width_mm:g} × {height_mm:g} mm",
            columns=columns,
            rows=rows,
            width_mm=width_mm,
            height_mm=height_mm,
        ),
        width_mm,
        height_mm,
        A4_MM,
        columns=columns,
        rows=rows,
        first_mm=(left, top),
        pitch_mm=(width_mm + gap_x, height_mm + gap_y),
        edge_mm=(min(4.0, width_mm / 17), min(3.0, height_mm / 12)),  # a printer may be off by some millimetres
        dpi=600,
    )


def _checked(width_mm: float, height_mm: float) -> tuple[float, float]:
    width_mm, height_mm = round(float(width_mm), 2), round(float(height_mm), 2)
    if not (LEAST_MM <= width_mm <= MOST_MM and LEAST_MM <= height_mm <= MOST_MM):
        raise LabelError(
            _(
                "A label must be {least:g}–{most:g} mm wide and high, not {width_mm:g} × {height_mm:g} mm.",
                least=LEAST_MM,
                most=MOST_MM,
                width_mm=width_mm,
                height_mm=height_mm,
            )
        )
    return width_mm, height_mm


def _check_fit(needed_mm: float, page_mm: float, refusal: str) -> None:
    if needed_mm > page_mm + 0.005:
        raise LabelError(translate(refusal, needed_mm=round(needed_mm, 2), page_mm=page_mm))


_SHEET = replace(sheet(70, 37, columns=3, rows=8, margin_mm=(0, 0.5)), name="a4-70x37")
SIZES: Mapping[str, LabelSize] = MappingProxyType(
    {size.name: size for size in (roll(50, 30), roll(62, 29), roll(100, 50), _SHEET)}
)
"""The common ones, which every label page offers."""


def label_size(name: str) -> LabelSize:
    """Stock by its name: ``50x30`` for a roll, ``a4-70x37-3x8-0x0.5-0x0`` for a sheet.

    The parts of a sheet's name are the label, columns and rows, margins at the left and the top, and gaps between
    columns and rows.

    Raises
    ------
    LabelError
        If the text is no such name, or the labels cannot be.
    """
    if name in SIZES:
        return SIZES[name]
    if match := _ROLL.fullmatch(name):
        return roll(*map(float, match.groups()))
    if match := _A4.fullmatch(name):
        width, height, columns, rows, left, top, gap_x, gap_y = match.groups()
        return sheet(
            float(width),
            float(height),
            columns=int(columns),
            rows=int(rows),
            margin_mm=(float(left), float(top)),
            gap_mm=(float(gap_x), float(gap_y)),
        )
    raise LabelError(
        _(
            "{name} is no label size. A roll is written like {roll}, an A4 sheet like {sheet}.",
            name=repr(name),
            roll="50x30",
            sheet="a4-70x37-3x8-0x0.5-0x0",
        )
    )
