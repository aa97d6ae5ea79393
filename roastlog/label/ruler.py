"""The test print of a stock: it shows how far a printer is off, and whether it scales."""

from collections.abc import Iterator
from math import floor

from roastlog.label.drawing import Box, Drawing, TextLine
from roastlog.label.fonts import ASCENT_EM, LINE_EM, face, normalize, wrap
from roastlog.label.stock import LabelSize
from roastlog.languages import _, joined

LINE_MM = 0.2
FIRST_MM = 10  # where both rulers of a roll begin, clear of each other
FIRST_ON_SHEET_MM = 20
FRAME_MM = 1.0  # from the edge of a label of a roll, where a frame on the edge itself might be lost
_TICKS_MM = ((10, 3.0), (5, 2.0), (1, 1.2))  # every so many millimetres, so long
_NUMBER_MM = 2.5
_WORDS_MM = (4.0, 3.4, 2.9, 2.5, 2.2, 1.9, 1.6)  # type sizes, the first that fits
_WORDS_WIDTH_MM = 120.0


def ruler(size: LabelSize) -> Drawing:
    """Rulers from the left and the top edge of the page, the outline of each label, and the words what to measure."""
    is_sheet = size.per_page > 1 or size.page_mm != (size.width_mm, size.height_mm)
    edge_mm = 5.0 if is_sheet else 2 * FRAME_MM  # most office printers leave the outermost millimetres white
    first = FIRST_ON_SHEET_MM if is_sheet else FIRST_MM
    width, height = size.page_mm
    boxes = [box for place in range(size.per_page) for box in _frame(size, place, 0.0 if is_sheet else FRAME_MM)]
    boxes += [Box(at - LINE_MM / 2, edge_mm, LINE_MM, long) for at, long in _ticks(first, width - edge_mm)]
    boxes += [Box(edge_mm, at - LINE_MM / 2, long, LINE_MM) for at, long in _ticks(first, height - edge_mm)]
    lines = [_number(at, at, edge_mm + 3.0 + _NUMBER_MM) for at in _tens(first, width - edge_mm)]
    lines += [_number(at, edge_mm + 3.0 + _NUMBER_MM, at + _NUMBER_MM / 3) for at in _tens(first, height - edge_mm)]
    back, words = _words(size, edge_mm, is_sheet=is_sheet)
    return Drawing((*boxes, *back), (*lines, *words))


def _frame(size: LabelSize, place: int, inside_mm: float) -> Iterator[Box]:
    """Four lines, their middle so far inside of the edge of a label."""
    left, top = (corner + inside_mm - LINE_MM / 2 for corner in size.corner_mm(place))
    width, height = size.width_mm - 2 * inside_mm, size.height_mm - 2 * inside_mm
    yield Box(left, top, width + LINE_MM, LINE_MM)
    yield Box(left, top + height, width + LINE_MM, LINE_MM)
    yield Box(left, top, LINE_MM, height + LINE_MM)
    yield Box(left + width, top, LINE_MM, height + LINE_MM)


def _ticks(first_mm: int, end_mm: float) -> Iterator[tuple[int, float]]:
    """Position and length of each tick."""
    for at in range(first_mm, floor(end_mm) + 1):
        yield at, next(length for every, length in _TICKS_MM if at % every == 0)


def _tens(first_mm: int, end_mm: float) -> range:
    return range(first_mm, floor(end_mm - _NUMBER_MM / 2) + 1, 10)


def _number(value: int, middle_mm: float, baseline_mm: float) -> TextLine:
    text = str(value)
    x_mm = middle_mm - face(bold=False).width_em(text) * _NUMBER_MM / 2
    return TextLine("ruler", text, x_mm, baseline_mm, _NUMBER_MM, bold=False)


def _words(size: LabelSize, edge_mm: float, *, is_sheet: bool) -> tuple[list[Box], list[TextLine]]:
    """The words, as large as they fit; on a sheet in its middle on white, on a roll beside the rulers."""
    text = normalize(_instructions(size, is_sheet=is_sheet))
    inner_mm = edge_mm + 3.0 + 2 * _NUMBER_MM
    width, height = (side - inner_mm - edge_mm for side in size.page_mm)
    width = min(width, _WORDS_WIDTH_MM)
    for size_mm in _WORDS_MM:
        lines, whole = wrap(text, width / size_mm, max(1, floor(height / (LINE_EM * size_mm))), bold=False)
        if whole:
            break
    left, top = inner_mm, inner_mm
    back = []
    if is_sheet:
        left, top = (size.page_mm[0] - width) / 2, (size.page_mm[1] - len(lines) * LINE_EM * size_mm) / 2
        back = [Box(left - 3, top - 3, width + 6, len(lines) * LINE_EM * size_mm + 6, ink=False)]
    return back, [
        TextLine("words", line, left, top + (number * LINE_EM + ASCENT_EM) * size_mm, size_mm, bold=False)
        for number, line in enumerate(lines)
    ]


def _instructions(size: LabelSize, *, is_sheet: bool) -> str:
    if is_sheet:
        rest = _(
            "The frames must lie on the edges of the labels. If all marks are off by the same, change the margins: "
            "with mark 20 at 21.5 mm, make the margin 1.5 mm smaller."
        )
    else:
        rest = _(
            "The frame must be 1 mm from each edge. If all marks are off by the same, shift the print in the printer's "
            "settings."
        )
    measure = _(
        "Lay a ruler on the paper, its 0 at the left edge, then at the top edge: each mark must lie at its number of "
        "mm. If the far marks are off by more, print at 100 %, actual size."
    )
    return joined(" ", [joined(". ", [size.title, measure]), rest])
