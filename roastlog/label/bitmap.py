"""A label or its test print in printer dots, black on white: for a label printer without a driver."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from roastlog.label.drawing import MM_PER_INCH, Box, Drawing, TextLine
from roastlog.label.fonts import face
from roastlog.label.layout import Layout
from roastlog.label.stock import LabelSize

if TYPE_CHECKING:
    from PIL import ImageFont


@dataclass(frozen=True)
class Bitmap:
    """Dots in rows from the top; each row fills whole bytes, its leftmost dot the highest bit, 1 for black."""

    width_dots: int
    height_dots: int
    data: bytes

    @property
    def row_bytes(self) -> int:
        """Bytes of a row."""
        return -(-self.width_dots // 8)


def label_bitmap(placed: Layout) -> Bitmap:
    """A label in the dots of the resolution for which it was laid out; each module of the symbol is whole dots."""
    canvas = _Canvas(placed.size, placed.dpi)
    canvas.draw(Drawing(placed.boxes, placed.lines))
    left, top = map(canvas.dots, placed.symbol_mm)
    side = placed.module_dots
    canvas.draw_dots(
        (left + column * side, top + row * side, n * side, side) for row, column, n in placed.symbol.runs()
    )
    return canvas.bitmap()


def drawing_bitmap(drawing: Drawing, size: LabelSize, dpi: int) -> Bitmap:
    """A drawing on one label of a roll."""
    canvas = _Canvas(size, dpi)
    canvas.draw(drawing)
    return canvas.bitmap()


class _Canvas:
    """A white label to draw on."""

    def __init__(self, size: LabelSize, dpi: int) -> None:
        from PIL import Image, ImageDraw  # noqa: PLC0415 - serving must start fast

        self._dpi = dpi
        self._image = Image.new("1", (self.dots(size.width_mm), self.dots(size.height_mm)), 0)
        self._pen: ImageDraw.ImageDraw = ImageDraw.Draw(self._image)

    def dots(self, length_mm: float) -> int:
        """A length in dots."""
        return round(length_mm * self._dpi / MM_PER_INCH)

    def draw(self, drawing: Drawing) -> None:
        """Draw boxes, then lines of text."""
        for box in drawing.boxes:
            self._draw_box(box)
        for line in drawing.lines:
            self._draw_line(line)

    def draw_dots(self, rectangles: Iterable[tuple[int, int, int, int]]) -> None:
        """Draw black rectangles: left, top, width and height in dots."""
        for left, top, width, height in rectangles:
            self._pen.rectangle((left, top, left + width - 1, top + height - 1), fill=1)

    def _draw_box(self, box: Box) -> None:
        left, top = self.dots(box.left_mm), self.dots(box.top_mm)
        width, height = max(1, self.dots(box.width_mm)), max(1, self.dots(box.height_mm))
        self._pen.rectangle((left, top, left + width - 1, top + height - 1), fill=int(box.ink))

    def _draw_line(self, line: TextLine) -> None:
        """Draw each character where the layout has it: a font's own steps are rounded to dots, and would add up."""
        look, at_mm, baseline = face(bold=line.bold), line.x_mm, self.dots(line.baseline_mm)
        font = _font(line.size_mm * self._dpi / MM_PER_INCH, bold=line.bold)
        for character in look.displayable(line.text):
            self._pen.text((self.dots(at_mm), baseline), character, fill=1, font=font, anchor="ls")
            at_mm += look.width_em(character) * line.size_mm

    def bitmap(self) -> Bitmap:
        """The drawing so far."""
        return Bitmap(*self._image.size, self._image.tobytes())


@lru_cache(maxsize=64)
def _font(size_dots: float, *, bold: bool) -> "ImageFont.FreeTypeFont":
    from PIL import ImageFont  # noqa: PLC0415 - as above

    return ImageFont.truetype(face(bold=bold).file, size_dots, layout_engine=ImageFont.Layout.BASIC)
