"""Layout of a label in millimetres, shared by the PDF and the print page."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import ceil, floor
from types import MappingProxyType

from roastlog.errors import LabelError
from roastlog.label.fonts import ASCENT_EM, LINE_EM, face, normalize, wrap
from roastlog.label.qr import QUIET, QrSymbol, qr_symbol
from roastlog.languages import N_, _

MM_PER_INCH = 25.4
MIN_TEXT_MM = 2.5  # type size whose small x is 1.2 mm high in this typeface
MIN_MODULE_IN = 3 / 203  # three dots of a common label printer, 0.375 mm
GAP_MM = 0.8


@dataclass(frozen=True)
class Label:
    """Content of a bag label. Dates and weights are already formatted."""

    coffee: str
    code: str
    url: str
    business: str = ""
    subtitle: str = ""
    roasted_on: str = ""
    best_before: str | None = None
    net_weight: str | None = None
    note: str | None = None
    origin: str = ""
    count: str = ""
    warning: str = ""
    """A word across the label that keeps it off a bag; business, origin, purpose and note make room for it."""


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


def _roll(width_mm: float, height_mm: float) -> LabelSize:
    name = f"{width_mm:g}x{height_mm:g}"
    return LabelSize(
        name,
        _("Roll, {width_mm:g} × {height_mm:g} mm", width_mm=width_mm, height_mm=height_mm),
        width_mm,
        height_mm,
        (width_mm, height_mm),
    )


_SHEET = LabelSize(
    "a4-70x37", N_("A4 sheet, 24 labels of 70 × 37 mm"), 70, 37, (210, 297),
    columns=3, rows=8, first_mm=(0.0, 0.5), pitch_mm=(70.0, 37.0), edge_mm=(4.0, 3.0), dpi=600,
)  # fmt: skip

SIZES: Mapping[str, LabelSize] = MappingProxyType(
    {size.name: size for size in (_roll(50, 30), _roll(62, 29), _roll(100, 50), _SHEET)}
)


def label_size(name: str) -> LabelSize:
    """Size by its name, such as ``50x30``; LabelError for an unknown one."""
    try:
        return SIZES[name]
    except KeyError:
        raise LabelError(
            _("Label size must be one of {sizes}, not {name}.", name=repr(name), sizes=", ".join(SIZES))
        ) from None


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


@dataclass(frozen=True)
class Layout:
    """Positions of all parts of a label. The symbol's corner is that of its first module, inside the quiet zone."""

    size: LabelSize
    dpi: int
    symbol: QrSymbol
    module_dots: int
    symbol_mm: tuple[float, float]
    lines: tuple[TextLine, ...]
    rule_mm: tuple[float, float, float] | None = None  # left, right, height
    shortened: tuple[str, ...] = field(default=())

    @property
    def module_mm(self) -> float:
        """Side of a module: a whole number of printer dots."""
        return self.module_dots * MM_PER_INCH / self.dpi

    @property
    def quiet_box_mm(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom of the symbol with its quiet zone."""
        left, top = (corner - QUIET * self.module_mm for corner in self.symbol_mm)
        side = (self.symbol.side + 2 * QUIET) * self.module_mm
        return left, top, left + side, top + side


def layout(label: Label, size: LabelSize, dpi: int | None = None) -> Layout:
    """Lay out a label: symbol and code at the right, the words at the left.

    Parameters
    ----------
    label : Label
        Its content.
    size : LabelSize
        Its size.
    dpi : int, optional
        Dots per inch of the printer; defaults to the common value for the size.

    Returns
    -------
    Layout
        ``shortened`` names the parts that were cut or omitted.

    Raises
    ------
    LabelError
        If the address, the code or the dates do not fit legibly; the message says how to fix it.
    """
    dpi = size.dpi if dpi is None else dpi
    if not 150 <= dpi <= 2400:
        raise LabelError(_("Printer resolution must be 150–2400 dots per inch, not {dpi}.", dpi=dpi))
    if not normalize(label.code):
        raise LabelError(_("A label needs the batch's code."))
    small_mm = MIN_TEXT_MM * min(1.7, max(1.0, min(size.width_mm / 50, (size.height_mm - 2 * size.edge_mm[1]) / 28)))
    placed = _place_symbol(label, size, dpi, small_mm)
    return _place_words(label, placed, small_mm)


def _place_symbol(label: Label, size: LabelSize, dpi: int, small_mm: float) -> Layout:
    """Largest symbol of whole dots at the right edge, the code under it."""
    symbol = qr_symbol(label.url)
    code_mm = 1.15 * small_mm
    room_mm = min(size.width_mm / 2, size.height_mm - 2 * size.edge_mm[1] - LINE_EM * code_mm)
    dot_mm, across = MM_PER_INCH / dpi, symbol.side + 2 * QUIET
    dots = floor(room_mm / dot_mm / across + 1e-9)
    if dots < ceil(MIN_MODULE_IN * dpi - 1e-9):
        raise LabelError(
            _(
                "The QR code of this address ({url} characters) is too fine for a label of {width_mm:g} × "
                "{height_mm:g} mm. Choose a larger label or a shorter address.",
                url=len(label.url),
                width_mm=size.width_mm,
                height_mm=size.height_mm,
            )
        )
    side_mm = dots * dot_mm * across
    left = floor((size.width_mm - size.edge_mm[0] - side_mm) / dot_mm) * dot_mm
    block_mm = side_mm + LINE_EM * code_mm
    top = floor((size.height_mm - block_mm) / 2 / dot_mm) * dot_mm
    code = _centred("code", normalize(label.code), left, side_mm, code_mm)
    code = replace(code, baseline_mm=top + side_mm + ASCENT_EM * code.size_mm)
    inset = QUIET * dots * dot_mm
    return Layout(size, dpi, symbol, dots, (left + inset, top + inset), (code,))


def _centred(part: str, text: str, left: float, room_mm: float, size_mm: float) -> TextLine:
    line = TextLine(part, text, left, 0.0, size_mm, bold=True)
    if line.width_mm > room_mm:
        line = replace(line, size_mm=size_mm * room_mm / line.width_mm)
    if line.size_mm < MIN_TEXT_MM * 0.8:
        raise LabelError(_("The code {text} is too long for this label.", text=repr(text)))
    return replace(line, x_mm=left + (room_mm - line.width_mm) / 2)


@dataclass
class _Column:
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

    def add_below(self, part: str, texts: list[str], *, bold: bool = False) -> None:
        """Add small lines above the bottom text."""
        for text in reversed(texts):
            self.bottom_mm -= LINE_EM * self.small_mm
            self.lines.append(
                TextLine(part, text, self.x_mm, self.bottom_mm + ASCENT_EM * self.small_mm, self.small_mm, bold)
            )

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


def _place_words(label: Label, placed: Layout, small_mm: float) -> Layout:
    """Place the required facts at the bottom, then the name as large as possible, then the rest."""
    size = placed.size
    left, top = size.edge_mm[0], max(size.edge_mm[1], 1.0)
    width = placed.quiet_box_mm[0] - left - GAP_MM / 2
    column = _Column(left, width, top, size.height_mm - top, small_mm)
    rule = _facts(label, column)
    if label.warning:
        column.add("warning", *_across(normalize(label.warning), column), bold=True)
        label = replace(label, business="", origin="", subtitle="", note=None)
    business, origin, subtitle = normalize(label.business), normalize(label.origin), normalize(label.subtitle)
    if business and column.rows(small_mm) >= 3:
        column.fill("business", business, 1)
    elif business:
        column.shortened.append("business")
    below = [line for text in (origin, subtitle) for line in wrap(text, width / small_mm, 2, bold=False)[0]]
    _name(normalize(label.coffee), column, spare_mm=len(below) * LINE_EM * small_mm)
    column.fill("origin", origin, 2)
    column.fill("subtitle", subtitle, 2)
    column.fill("note", normalize(label.note or ""), 3)
    return replace(
        placed,
        lines=(*placed.lines, *column.lines),
        rule_mm=None if rule is None else (left, left + width, rule),
        shortened=tuple(column.shortened),
    )


def _facts(label: Label, column: _Column) -> float | None:
    """Place weight and dates at the bottom, with a rule above. Returns the rule's height, None without any fact."""
    said = {
        "net_weight": " · ".join(filter(None, (normalize(label.net_weight or ""), normalize(label.count)))),
        "best_before": _("Best before {best_before}", best_before=normalize(label.best_before))
        if label.best_before
        else "",
        "roasted_on": _("Roasted {roasted_on}", roasted_on=normalize(label.roasted_on)) if label.roasted_on else "",
    }
    for part, text in said.items():
        bold = part == "net_weight"
        lines, _whole = wrap(text, column.width_mm / column.small_mm, 99, bold=bold)
        if len(lines) > 2 or len(lines) > column.rows(column.small_mm):
            raise LabelError(
                _(
                    "Dates and weight do not fit on this label ({text}). Choose a larger label or shorter words.",
                    text=repr(text),
                )
            )
        column.add_below(part, lines, bold=bold)
    if not any(said.values()):
        return None
    column.bottom_mm -= GAP_MM
    return column.bottom_mm + GAP_MM / 2


def _across(text: str, column: _Column) -> tuple[list[str], float]:
    """A word as wide as the column, if half of its height is enough; and its type size."""
    width_em = face(bold=True).width_em(text)
    return [text], min(column.width_mm / width_em, (column.bottom_mm - column.top_mm) / 2 / LINE_EM)


def _name(text: str, column: _Column, *, spare_mm: float) -> None:
    """Place the coffee's name: as large as two lines allow, then smaller on up to four, then cut."""
    if not text:
        return
    smallest = column.small_mm * 1.1
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
