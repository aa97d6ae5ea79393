"""Rendering of labels: as PDF for label printers and sheets, as SVG for the print page."""

from collections.abc import Iterator
from html import escape
from math import floor
from typing import TYPE_CHECKING

from roastlog.errors import LabelError
from roastlog.label.fonts import face, normalize
from roastlog.label.layout import MM_PER_INCH, Label, LabelSize, Layout, layout
from roastlog.languages import _

if TYPE_CHECKING:
    from fpdf import FPDF

PT_PER_MM = 72 / MM_PER_INCH
RULE_DOTS_IN = 1 / 100  # thickness of the rule, about 0.25 mm
MOST_COPIES = 72  # three sheets of 24: a PDF takes about 20 ms a label, so 1.5 s

Corner = tuple[float, float]


def missing_characters(label: Label) -> str:
    """Characters of a label that are missing in the PDF's typeface, each once; the print page shows them all."""
    said = (label.business, label.coffee, label.subtitle, label.code, label.roasted_on, label.best_before)
    text = "".join(normalize(part or "") for part in (*said, label.net_weight, label.note, label.warning))
    known = face(bold=False).advance_em.keys() & face(bold=True).advance_em.keys()
    return "".join(dict.fromkeys(character for character in text if ord(character) not in known))


def label_pdf(label: Label, size: LabelSize, *, dpi: int | None = None, copies: int = 1, skip: int = 0) -> bytes:
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

    Raises
    ------
    LabelError
        If the label cannot be made; the message says how to fix it.
    """
    from fpdf import FPDF  # noqa: PLC0415, takes half a second to import, and serving must start fast

    placed = layout(label, size, dpi)
    pages = list(_pages(size, copies, skip))
    pdf = FPDF(unit="mm", format=_page_mm(size, placed.dpi))
    pdf.set_auto_page_break(auto=False)
    pdf.set_title(_("Label {code}", code=placed.lines[0].text))
    for bold in (False, True):
        pdf.add_font("label", "B" if bold else "", face(bold=bold).file)
    for corners in pages:
        pdf.add_page()
        for corner in corners:
            _draw(pdf, placed, corner)
    made = bytes(pdf.output())
    for font in pdf.fonts.values():
        font.ttfont.close()  # fpdf2 reads it lazily and leaves the file open
    return made


def label_pages(label: Label, size: LabelSize, *, dpi: int | None = None, copies: int = 1, skip: int = 0) -> list[str]:
    """The same pages as inline SVG in true millimetres, for printing from the browser at 100 %.

    Each line carries its measured length, so that a browser's own font cannot run into its neighbour.
    """
    placed = layout(label, size, dpi)
    drawing = _svg_label(placed)
    width, height = size.page_mm
    title = escape(_("Label {code}", code=placed.lines[0].text))
    return [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="label-page" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}" role="img"><title>{title}</title>'
        + "".join(f'<g transform="translate({_n(x)} {_n(y)})">{drawing}</g>' for x, y in corners)
        + "</svg>"
        for corners in _pages(size, copies, skip)
    ]


def _pages(size: LabelSize, copies: int, skip: int) -> Iterator[list[Corner]]:
    """Corners of the labels of each page."""
    if not 1 <= copies <= MOST_COPIES:
        raise LabelError(
            _("Number of labels must be 1–{most_copies}, not {copies}.", most_copies=MOST_COPIES, copies=copies)
        )
    if not 0 <= skip < size.per_page:
        raise LabelError(_("Labels already used must be 0–{most}, not {skip}.", most=size.per_page - 1, skip=skip))
    places = range(skip, skip + copies)
    for first in range(0, places.stop, size.per_page):
        yield [size.corner_mm(place - first) for place in places if first <= place < first + size.per_page]


def _draw(pdf: "FPDF", placed: Layout, corner: Corner) -> None:
    x_mm, y_mm = corner
    for line in placed.lines:
        pdf.set_font("label", "B" if line.bold else "", line.size_mm * PT_PER_MM)
        pdf.text(x_mm + line.x_mm, y_mm + line.baseline_mm, face(bold=line.bold).displayable(line.text))
    if placed.rule_mm:
        left, right, height = placed.rule_mm
        thick = _whole_dots(RULE_DOTS_IN * MM_PER_INCH, placed.dpi)
        pdf.set_fill_color(0)
        pdf.rect(x_mm + left, y_mm + height - thick / 2, right - left, thick, style="F")
    # Printer dots start at the page's corner, so the symbol is aligned to whole dots from there.
    module = placed.module_mm
    left, top = (_whole_dots(a + b, placed.dpi) for a, b in zip(corner, placed.symbol_mm, strict=True))
    with pdf.new_path() as path:  # one path, so that no hairline shows between the rows
        path.style.fill_color, path.style.stroke_color = "#000", None
        for row, column, length in placed.symbol.runs():
            path.rectangle(left + column * module, top + row * module, length * module, module)


def _page_mm(size: LabelSize, dpi: int) -> Corner:
    """Page size rounded to whole dots, because some renderers stretch a page that ends within a dot.

    fpdf2 writes hundredths of a point; they are truncated, not rounded up, so that no renderer adds a dot.
    """
    width, height = (floor(_whole_dots(side, dpi) * PT_PER_MM * 100) / 100 / PT_PER_MM for side in size.page_mm)
    return width, height


def _whole_dots(length_mm: float, dpi: int) -> float:
    return round(length_mm * dpi / MM_PER_INCH) * MM_PER_INCH / dpi


def _svg_label(placed: Layout) -> str:
    x, y = placed.symbol_mm
    place = f"translate({_n(x)} {_n(y)}) scale({placed.module_mm:.6f})"
    parts = [f'<path shape-rendering="crispEdges" transform="{place}" d="{placed.symbol.path()}"/>']
    if placed.rule_mm:
        left, right, height = placed.rule_mm
        parts.append(f'<path d="M{_n(left)} {_n(height)}H{_n(right)}" stroke="#000" stroke-width=".25"/>')
    parts += [
        f'<text x="{_n(line.x_mm)}" y="{_n(line.baseline_mm)}" font-size="{_n(line.size_mm)}" '
        f'font-weight="{700 if line.bold else 400}" textLength="{_n(line.width_mm)}" '
        f'lengthAdjust="spacingAndGlyphs">{escape(line.text)}</text>'
        for line in placed.lines
    ]
    return "".join(parts)


def _n(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")
