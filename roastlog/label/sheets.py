"""Rendering of labels: as PDF for label printers and sheets, as SVG for the print page."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from html import escape
from math import floor
from typing import TYPE_CHECKING, NamedTuple

from roastlog.errors import LabelError
from roastlog.label.drawing import MM_PER_INCH, Box, Corner, TextLine, whole_dots
from roastlog.label.fonts import face, normalize
from roastlog.label.layout import Label, Layout, layout, relaid
from roastlog.label.ruler import ruler
from roastlog.label.stock import LabelSize
from roastlog.languages import _

if TYPE_CHECKING:
    from fpdf import FPDF

PT_PER_MM = 72 / MM_PER_INCH
MOST_COPIES = 72  # three sheets of 24: a PDF takes about 5 ms a label, so half a second


class Placed(NamedTuple):
    """A label on its page."""

    layout: Layout
    corner: Corner


def missing_characters(label: Label) -> str:
    """Characters of a label that are missing in the PDF's typeface, each once; the print page shows them all."""
    text = "".join(normalize(part or "") for name, part in vars(label).items() if name != "url")
    known = face(bold=False).advance_em.keys() & face(bold=True).advance_em.keys()
    return "".join(dict.fromkeys(character for character in text if ord(character) not in known))


def label_pdf(
    label: Label, size: LabelSize, *, dpi: int | None = None, copies: int = 1, skip: int = 0, numbered: bool = False
) -> bytes:
    """PDF of labels: one per page on a roll, several per page on a sheet.

    Parameters
    ----------
    label : Label
        Content.
    size : LabelSize
        One of ``SIZES``.
    dpi : int, optional
        Dots per inch of the printer; defaults to the common value for the size.
    copies : int, default 1
        Number of labels, 1 to 72.
    skip : int, default 0
        Used positions at the start of the first sheet.
    numbered : bool, default False
        Whether each label has its number, such as “3 of 16”; one alone has none.

    Raises
    ------
    LabelError
        If the label cannot be made; the message says how to fix it.
    """
    pages = _pages(labels(label, size, dpi, copies, numbered=numbered), size, skip)
    first = pages[0][0].layout
    with new_pdf(_page_mm(size, first.dpi), _("Label {code}", code=first.lines[0].text)) as pdf:
        for page in pages:
            pdf.add_page()
            for placed in page:
                _draw(pdf, placed.layout, placed.corner)
        return bytes(pdf.output())


def ruler_pdf(size: LabelSize) -> bytes:
    """The test print of a stock as PDF: rulers along two edges and the outlines of its labels."""
    test = ruler(size)
    with new_pdf(_page_mm(size, size.dpi), _("Test print")) as pdf:
        pdf.add_page()
        _draw_boxes(pdf, test.boxes, (0.0, 0.0))
        _draw_lines(pdf, test.lines, (0.0, 0.0))
        return bytes(pdf.output())


@contextmanager
def new_pdf(page_mm: Corner, title: str) -> "Iterator[FPDF]":
    """A PDF with pages of one size and the typeface of labels, “label”."""
    from fpdf import FPDF  # noqa: PLC0415, takes half a second to import, and serving must start fast

    pdf = FPDF(unit="mm", format=page_mm)
    pdf.set_auto_page_break(auto=False)
    pdf.set_title(title)
    for bold in (False, True):
        pdf.add_font("label", "B" if bold else "", face(bold=bold).file)
    try:
        yield pdf
    finally:
        for font in pdf.fonts.values():
            font.ttfont.close()  # fpdf2 reads it lazily and leaves the file open


def label_pages(
    label: Label, size: LabelSize, *, dpi: int | None = None, copies: int = 1, skip: int = 0, numbered: bool = False
) -> list[str]:
    """The same pages as inline SVG in true millimetres, for printing from the browser at 100 %.

    Each line carries its measured length, so that a browser's own font cannot run into its neighbour.
    """
    pages = _pages(labels(label, size, dpi, copies, numbered=numbered), size, skip)
    title = _("Label {code}", code=pages[0][0].layout.lines[0].text)
    return [
        _svg_page(
            size,
            title,
            "".join(
                f'<g transform="translate({_n(placed.corner[0])} {_n(placed.corner[1])})">'
                f"{_svg_label(placed.layout)}</g>"
                for placed in page
            ),
        )
        for page in pages
    ]


def ruler_page(size: LabelSize) -> str:
    """The same test print as inline SVG, for printing from the browser."""
    test = ruler(size)
    return _svg_page(size, _("Test print"), _svg_boxes(test.boxes) + _svg_lines(test.lines))


def labels(label: Label, size: LabelSize, dpi: int | None, copies: int, *, numbered: bool) -> list[Layout]:
    """The layout of each label; parameters and errors as of `label_pdf`."""
    if not 1 <= copies <= MOST_COPIES:
        raise LabelError(
            _("Number of labels must be 1–{most_copies}, not {copies}.", most_copies=MOST_COPIES, copies=copies)
        )
    if not numbered or copies == 1:
        return [layout(label, size, dpi)] * copies
    counts = [_("{number} of {copies}", number=number, copies=copies) for number in range(1, copies + 1)]
    widest = layout(replace(label, count=max(counts, key=face(bold=True).width_em)), size, dpi)
    return [relaid(widest, replace(label, count=count)) for count in counts]


def _pages(labels: Sequence[Layout], size: LabelSize, skip: int) -> list[list[Placed]]:
    """The labels of each page, with their corners."""
    if not 0 <= skip < size.per_page:
        raise LabelError(_("Labels already used must be 0–{most}, not {skip}.", most=size.per_page - 1, skip=skip))
    places = [Placed(layout, size.corner_mm(place % size.per_page)) for place, layout in enumerate(labels, skip)]
    ends = range(size.per_page - skip, len(places) + size.per_page, size.per_page)
    return [places[max(0, end - size.per_page) : end] for end in ends]


def _draw(pdf: "FPDF", placed: Layout, corner: Corner) -> None:
    from fpdf.drawing import PaintedPath  # noqa: PLC0415, as fpdf

    _draw_lines(pdf, placed.lines, corner)
    _draw_boxes(pdf, placed.boxes, corner)
    # Printer dots start at the page's corner, so the symbol is aligned to whole dots from there.
    module = placed.module_mm
    left, top = (whole_dots(a + b, placed.dpi) for a, b in zip(corner, placed.symbol_mm, strict=True))
    path = PaintedPath()  # one path, so that no hairline shows between the rows
    path.style.fill_color, path.style.stroke_color = "#000", None
    for row, column, length in placed.symbol.runs():
        path.rectangle(left + column * module, top + row * module, length * module, module)
    pdf.draw_path(path, copy=False)  # a copy takes longer than all else


def _draw_lines(pdf: "FPDF", lines: Iterable[TextLine], corner: Corner) -> None:
    for line in lines:
        pdf.set_font("label", "B" if line.bold else "", line.size_mm * PT_PER_MM)
        x_mm, y_mm = corner[0] + line.x_mm, corner[1] + line.baseline_mm
        pdf.text(x_mm, y_mm, face(bold=line.bold).displayable(line.text))


def _draw_boxes(pdf: "FPDF", boxes: Iterable[Box], corner: Corner) -> None:
    for box in boxes:
        pdf.set_fill_color(0 if box.ink else 255)
        pdf.rect(corner[0] + box.left_mm, corner[1] + box.top_mm, box.width_mm, box.height_mm, style="F")


def _page_mm(size: LabelSize, dpi: int) -> Corner:
    """Page size rounded to whole dots, because some renderers stretch a page that ends within a dot.

    fpdf2 writes hundredths of a point; they are truncated, not rounded up, so that no renderer adds a dot.
    """
    width, height = (floor(whole_dots(side, dpi) * PT_PER_MM * 100) / 100 / PT_PER_MM for side in size.page_mm)
    return width, height


def _svg_page(size: LabelSize, title: str, drawn: str) -> str:
    width, height = size.page_mm
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="label-page" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}" role="img"><title>{escape(title)}</title>{drawn}</svg>'
    )


def _svg_label(placed: Layout) -> str:
    x, y = placed.symbol_mm
    place = f"translate({_n(x)} {_n(y)}) scale({placed.module_mm:.6f})"
    symbol = f'<path shape-rendering="crispEdges" transform="{place}" d="{placed.symbol.path()}"/>'
    return symbol + _svg_boxes(placed.boxes) + _svg_lines(placed.lines)


def _svg_lines(lines: Iterable[TextLine]) -> str:
    return "".join(
        f'<text x="{_n(line.x_mm)}" y="{_n(line.baseline_mm)}" font-size="{_n(line.size_mm)}" '
        f'font-weight="{700 if line.bold else 400}" textLength="{_n(line.width_mm)}" '
        f'lengthAdjust="spacingAndGlyphs">{escape(line.text)}</text>'
        for line in lines
    )


def _svg_boxes(boxes: Iterable[Box]) -> str:
    return "".join(
        f'<path fill="{"#000" if box.ink else "#fff"}" d="M{_n(box.left_mm)} {_n(box.top_mm)}'
        f'h{_n(box.width_mm)}v{_n(box.height_mm)}h-{_n(box.width_mm)}z"/>'
        for box in boxes
    )


def _n(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")
