"""Layout of a label in millimetres, shared by the PDF, the print page and the label printer."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from math import ceil, floor
from typing import Final

from roastlog.errors import LabelError
from roastlog.label.column import NAME_SCALE, Block, Column, across, place_name, required
from roastlog.label.drawing import MM_PER_INCH, Box, TextLine, whole_dots
from roastlog.label.fonts import ASCENT_EM, LINE_EM, face, normalize, wrap
from roastlog.label.limits import least_figures_mm
from roastlog.label.qr import QUIET, QrSymbol, qr_symbol
from roastlog.label.stock import LabelSize
from roastlog.languages import _

MIN_TEXT_MM = 2.5  # type size whose small x is 1.2 mm high in this typeface
MIN_TEXT_SMALL_PACK_MM = 1.9  # the same for 0.9 mm
MIN_MODULE_IN = 3 / 203  # three dots of a common label printer, 0.375 mm
RULE_IN = 1 / 100  # thickness of the rule, about 0.25 mm
GAP_MM = 0.8
MOST_FOOD_LINES = 3
CODE_SCALE = 1.15  # of the small type
NEVER_CUT: Final = frozenset({"food", "operator", "storage", "free_text"})
"""Parts for which type and symbol become smaller before they are cut; with a name of the food the origin too."""


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
    """A word across the label that keeps it off a bag; all but name, weight, dates and code make room for it."""
    food: str = ""
    """The name of the food by law, such as “Roast coffee, whole beans”."""
    address: str = ""
    """Address of the business, printed behind its name."""
    storage: str = ""
    free_text: str = ""
    """Any other words that the country of sale asks for."""
    net_g: float | None = None
    """Net weight whose figures are drawn as high as the law asks; in text size if None. [g]"""
    small_pack: bool = False
    """Whether the largest side of the pack is under 80 cm², so that type may be smaller."""


@dataclass(frozen=True)
class Layout:
    """Positions of all parts of a label. The symbol's corner is that of its first module, inside the quiet zone."""

    label: Label
    size: LabelSize
    dpi: int
    symbol: QrSymbol
    module_dots: int
    text_mm: float
    symbol_mm: tuple[float, float]
    lines: tuple[TextLine, ...]
    rule_mm: tuple[float, float, float] | None = None  # left, right, height
    shortened: tuple[str, ...] = field(default=())

    @property
    def module_mm(self) -> float:
        """Side of a module: a whole number of printer dots."""
        return self.module_dots * MM_PER_INCH / self.dpi

    @property
    def boxes(self) -> tuple[Box, ...]:
        """The rule, in whole dots; the symbol is drawn by itself."""
        if self.rule_mm is None:
            return ()
        left, right, height = self.rule_mm
        thick = whole_dots(RULE_IN * MM_PER_INCH, self.dpi)
        return (Box(left, height - thick / 2, right - left, thick),)

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
    symbol = qr_symbol(label.url)
    refused: LabelError | None = None
    found: list[Layout] = []
    for dots, text_mm in _steps(label, size, dpi, symbol):
        try:
            placed = _place_words(_place_symbol(label, size, dpi, symbol, dots, text_mm))
        except LabelError as error:
            refused = refused or error
            continue
        if not _falls_short(placed):
            return placed
        found.append(placed)
    if refused and not found:
        raise refused
    return min(found, key=_falls_short)


def relaid(placed: Layout, label: Label) -> Layout:
    """A label laid out like another one that differs in its number only: with the same symbol and type sizes."""
    return _place_words(
        _place_symbol(label, placed.size, placed.dpi, placed.symbol, placed.module_dots, placed.text_mm)
    )


def _steps(label: Label, size: LabelSize, dpi: int, symbol: QrSymbol) -> Iterator[tuple[int, float]]:
    """Dots of a module and type sizes, from the largest on: first the type becomes smaller, then the symbol."""
    scale = min(1.7, max(1.0, min(size.width_mm / 50, (size.height_mm - 2 * size.edge_mm[1]) / 28)))
    usual_mm = [MIN_TEXT_MM * factor for factor in (scale, 0.85 * scale, 0.7 * scale) if factor > 1.0] + [MIN_TEXT_MM]
    least = ceil(MIN_MODULE_IN * dpi - 1e-9)
    if _most_dots(size, dpi, symbol, MIN_TEXT_MM) < least:
        raise LabelError(
            _(
                "The QR code of this address ({url} characters) is too fine for a label of {width_mm:g} × "
                "{height_mm:g} mm. Choose a larger label or a shorter address.",
                url=len(label.url),
                width_mm=size.width_mm,
                height_mm=size.height_mm,
            )
        )
    for sizes_mm in (usual_mm, [MIN_TEXT_SMALL_PACK_MM] if label.small_pack else []):
        rooms = [(text_mm, _most_dots(size, dpi, symbol, text_mm)) for text_mm in sizes_mm]
        for dots in range(max((most for _mm, most in rooms), default=0), least - 1, -1):
            yield from ((dots, text_mm) for text_mm, most in rooms if dots <= most)


def _most_dots(size: LabelSize, dpi: int, symbol: QrSymbol, small_mm: float) -> int:
    """Dots of a module in the largest symbol beside type of that size."""
    room_mm = min(size.width_mm / 2, size.height_mm - 2 * size.edge_mm[1] - LINE_EM * CODE_SCALE * small_mm)
    return floor(room_mm / (MM_PER_INCH / dpi) / (symbol.side + 2 * QUIET) + 1e-9)


def _falls_short(placed: Layout) -> int:
    """Number of parts that the law or the country asks for and that are cut, or too small."""
    net_g = placed.label.net_g
    kept = NEVER_CUT | {"origin"} if placed.label.food else NEVER_CUT
    too_small = net_g is not None and any(
        line.figure_height_mm < least_figures_mm(net_g) - 1e-9 for line in placed.lines if line.part == "net_weight"
    )
    return len(kept.intersection(placed.shortened)) + too_small


def _place_symbol(label: Label, size: LabelSize, dpi: int, symbol: QrSymbol, dots: int, text_mm: float) -> Layout:
    """The symbol in modules of so many dots at the right edge, the code under it."""
    code_mm = CODE_SCALE * text_mm
    dot_mm, across = MM_PER_INCH / dpi, symbol.side + 2 * QUIET
    side_mm = dots * dot_mm * across
    left = floor((size.width_mm - size.edge_mm[0] - side_mm) / dot_mm) * dot_mm
    block_mm = side_mm + LINE_EM * code_mm
    top = floor((size.height_mm - block_mm) / 2 / dot_mm) * dot_mm
    code = _centred("code", normalize(label.code), left, side_mm, code_mm)
    code = replace(code, baseline_mm=top + side_mm + ASCENT_EM * code.size_mm)
    inset = QUIET * dots * dot_mm
    return Layout(label, size, dpi, symbol, dots, text_mm, (left + inset, top + inset), (code,))


def _centred(part: str, text: str, left: float, room_mm: float, size_mm: float) -> TextLine:
    line = TextLine(part, text, left, 0.0, size_mm, bold=True)
    if line.width_mm > room_mm:
        line = replace(line, size_mm=size_mm * room_mm / line.width_mm)
    if line.size_mm < MIN_TEXT_MM * 0.8:
        raise LabelError(_("The code {text} is too long for this label.", text=repr(text)))
    return replace(line, x_mm=left + (room_mm - line.width_mm) / 2)


def _place_words(placed: Layout) -> Layout:
    """Place the required facts at the bottom, then the name as large as possible, then the rest."""
    label, size, small_mm = placed.label, placed.size, placed.text_mm
    if label.warning:
        label = replace(
            label, business="", origin="", subtitle="", note=None, food="", address="", storage="", free_text=""
        )
    left, top = size.edge_mm[0], max(size.edge_mm[1], 1.0)
    width = placed.quiet_box_mm[0] - left - GAP_MM / 2
    column = Column(left, width, top, size.height_mm - top, small_mm)
    food, origin, subtitle = normalize(label.food), normalize(label.origin), normalize(label.subtitle)
    rule = _foot(label, column, len(wrap(food, width / small_mm, MOST_FOOD_LINES, bold=False)[0]))
    if label.warning:
        column.add("warning", *across(normalize(label.warning), column), bold=True)
    business = "" if label.address else normalize(label.business)
    if business and column.rows(small_mm) >= 3:
        column.fill("business", business, 1)
    elif business:
        column.shortened.append("business")
    below = [line for text in (food, origin, subtitle) for line in wrap(text, width / small_mm, 2, bold=False)[0]]
    place_name(normalize(label.coffee), column, spare_mm=len(below) * LINE_EM * small_mm)
    column.fill("food", food, MOST_FOOD_LINES)
    column.fill("origin", origin, 2)
    column.fill("subtitle", subtitle, 2)
    column.fill("note", normalize(label.note or ""), 3)
    return replace(
        placed,
        lines=(*placed.lines, *column.lines),
        rule_mm=None if rule is None else (left, left + width, rule),
        shortened=tuple(column.shortened),
    )


def _foot(label: Label, column: Column, food_lines: int) -> float | None:
    """Place what stands at the bottom, with a rule above. Returns the rule's height, None without anything there.

    Weight and dates are certain to be placed. Operator, storage and free text are cut where they leave no room for the
    coffee's name and the lines of the food's.
    """
    weight, facts = _weight(label, column), _facts(label, column)
    name_mm = LINE_EM * NAME_SCALE * column.small_mm if normalize(label.coffee) else 0.0
    free_mm = column.bottom_mm - column.top_mm - sum(block.height_mm for block in (*weight, *facts))
    free_mm -= GAP_MM + name_mm + food_lines * LINE_EM * column.small_mm
    words = {
        "operator": ", ".join(filter(None, map(normalize, (label.business, label.address)))) if label.address else "",
        "storage": normalize(label.storage),
        "free_text": normalize(label.free_text),
    }
    blocks: dict[str, list[Block]] = {}
    for part, text in words.items():
        blocks[part] = column.cut(part, text, free_mm)
        free_mm -= sum(block.height_mm for block in blocks[part])
    stack = (*blocks["operator"], *blocks["free_text"], *weight, *blocks["storage"], *facts)
    for block in stack:
        column.add_below(block)
    if not stack:
        return None
    column.bottom_mm -= GAP_MM
    return column.bottom_mm + GAP_MM / 2


def _weight(label: Label, column: Column) -> list[Block]:
    """The net weight and the number of the bag; in figures of the height that the law asks if its grams are given."""
    weight, count = normalize(label.net_weight or ""), normalize(label.count)
    if label.net_g is None or not weight:
        return required("net_weight", " · ".join(filter(None, (weight, count))), column, bold=True)
    look = face(bold=True)
    lawful_mm = max(column.small_mm, least_figures_mm(label.net_g) / look.figure_height_em + 1e-6)
    size_mm = min(lawful_mm, column.width_mm / look.width_em(weight))
    block = Block("net_weight", [weight], size_mm, bold=True)
    beside_mm = column.width_mm - look.width_em(weight) * size_mm - column.small_mm
    if look.width_em(count) * column.small_mm <= beside_mm:
        return [block._replace(beside=count)]
    return [*required("count", count, column, bold=True), block]


def _facts(label: Label, column: Column) -> list[Block]:
    """The dates, the lowest first."""
    said = {
        "best_before": _("Best before {best_before}", best_before=normalize(label.best_before))
        if label.best_before
        else "",
        "roasted_on": _("Roasted {roasted_on}", roasted_on=normalize(label.roasted_on)) if label.roasted_on else "",
    }
    return [block for part, text in said.items() for block in required(part, text, column)]
