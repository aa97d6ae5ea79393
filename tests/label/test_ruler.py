"""The test print: its marks lie where they say, in the rendered PDF and on the print page."""

import re

import numpy as np
import pypdfium2 as pdfium
import pytest

from roastlog.label.ruler import ruler
from roastlog.label.sheets import ruler_page, ruler_pdf
from roastlog.label.stock import SIZES, LabelSize, label_size
from roastlog.languages import use

DOTS_PER_MM = 20
STOCK = [*SIZES, "25x15", "a4-63.5x38.1-3x7-7.2x15.1-2.5x0", "a4-190x270-1x1-10x10-0x0"]
every_stock = pytest.mark.parametrize("size", [label_size(name) for name in STOCK], ids=STOCK)


def picture(size: LabelSize) -> np.ndarray:
    """The test print in ink, 20 dots a millimetre."""
    with pdfium.PdfDocument(ruler_pdf(size)) as document:
        assert len(document) == 1
        return document[0].render(scale=DOTS_PER_MM * 25.4 / 72, grayscale=True).to_numpy().squeeze() < 128


def middles_mm(ink: np.ndarray) -> list[float]:
    """Middle of each run of ink in a row of dots."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], ink.astype(np.int8), [0]))))
    return [(start + end) / 2 / DOTS_PER_MM for start, end in zip(edges[::2], edges[1::2], strict=True)]


@every_stock
def test_marks_lie_at_their_millimetres(size: LabelSize):
    """Along both edges there is a mark at each millimetre, within 0.05 mm of it."""
    ink = picture(size)
    edge_mm, first = (5, 20) if size.page_mm == (210, 297) else (2, 10)
    for row, length_mm in ((ink[int((edge_mm + 0.6) * DOTS_PER_MM)], size.page_mm[0]),
                           (ink[:, int((edge_mm + 0.6) * DOTS_PER_MM)], size.page_mm[1])):  # fmt: skip
        wanted = np.arange(first, int(length_mm - edge_mm) + 1)
        found = middles_mm(row)
        for at in wanted:
            assert min(abs(at - middle) for middle in found) <= 0.05, at
        assert len(found) <= len(wanted) + 2 * (size.columns + size.rows)  # and no others but the frames


@every_stock
def test_frames_lie_on_the_labels(size: LabelSize):
    """Each label has its outline, but for what the words hide: on its edges on a sheet, 1 mm inside on a roll."""
    ink, inside_mm = picture(size), 0 if size.page_mm == (210, 297) else 1
    hidden = [box for box in ruler(size).boxes if not box.ink]
    for place in range(size.per_page):
        left, top = (corner + inside_mm for corner in size.corner_mm(place))
        right, bottom = left + size.width_mm - 2 * inside_mm, top + size.height_mm - 2 * inside_mm
        for x_mm, y_mm in ((left, top + 0.7), (left + 0.7, top), (right, bottom - 0.7), (right - 0.7, bottom)):
            x, y = (
                min(round(at * DOTS_PER_MM), side - 1) for at, side in zip((x_mm, y_mm), ink.shape[::-1], strict=True)
            )
            if any(
                box.left_mm <= x_mm <= box.left_mm + box.width_mm and box.top_mm <= y_mm <= box.top_mm + box.height_mm
                for box in hidden
            ):
                continue
            assert ink[max(0, y - 2) : y + 2, max(0, x - 2) : x + 2].any(), (place, x_mm, y_mm)


@every_stock
@pytest.mark.parametrize("language", ["en", "de"])
def test_words_say_what_to_measure(size: LabelSize, language: str):
    """The words stand in whole inside the page on every stock but the tiniest, in each language, and name the stock."""
    use(language)
    try:
        words = [line for line in ruler(size).lines if line.part == "words"]
    finally:
        use("en")
    text = " ".join(line.text for line in words)
    assert re.search(rf"{size.width_mm:g}".replace(".", "[.,]"), text)
    if min(size.page_mm) >= 29:
        assert not text.endswith("…")
        assert "100" in text
    for line in words:
        assert 0 <= line.x_mm <= line.x_mm + line.width_mm <= size.page_mm[0]
        assert 0 <= line.baseline_mm <= size.page_mm[1]


@every_stock
def test_print_page_has_the_same_marks(size: LabelSize):
    """The page for printing from the browser draws the same boxes and lines in millimetres."""
    page, drawing = ruler_page(size), ruler(size)
    assert f'width="{size.page_mm[0]:g}mm"' in page
    corners = [(float(x), float(y)) for x, y in re.findall(r'd="M(-?[\d.]+) (-?[\d.]+)h', page)]
    assert corners == [pytest.approx((box.left_mm, box.top_mm), abs=1e-3) for box in drawing.boxes]
    assert page.count("<text") == len(drawing.lines)
