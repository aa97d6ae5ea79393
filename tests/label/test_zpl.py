"""Print jobs, decoded back to dots and compared with the PDF as PDFium renders it."""

from dataclasses import replace

import numpy as np
import pypdfium2 as pdfium
import pytest

from roastlog.errors import LabelError
from roastlog.label.drawing import MM_PER_INCH
from roastlog.label.layout import Label, layout
from roastlog.label.sheets import label_pdf, ruler_pdf
from roastlog.label.stock import LabelSize, label_size
from roastlog.label.zpl import RESOLUTIONS, label_job, ruler_job
from tests.label_printer import decoded
from tests.zbar import read

LABEL = Label(
    coffee="Señorita Alder, washed", food="Roast coffee, whole beans", code="L26330-04M", net_weight="250 g", net_g=250,
    url="https://192.168.178.24:8443/r/hZ3kQ9vT1xYbN7wL2mPq", business="Quillwater Roasters",
    address="Mill Lane 3, 12345 Harbour Town", best_before="26 May 2027", roasted_on="26 Nov 2026",
)  # fmt: skip
ROLLS = ["50x30", "62x29", "100x50", "57.5x31.7"]
every_roll = pytest.mark.parametrize("size", [label_size(name) for name in ROLLS], ids=ROLLS)
every_resolution = pytest.mark.parametrize("dpi", RESOLUTIONS)


def rendered(pdf: bytes, dpi: int, shape: tuple[int, ...]) -> np.ndarray:
    """Ink of a PDF's first page, a pixel a dot, cut or filled up to a shape: pages end within a dot."""
    with pdfium.PdfDocument(pdf) as document:
        ink = document[0].render(scale=dpi / 72, grayscale=True).to_numpy().squeeze() < 128
    whole = np.zeros(shape, dtype=bool)
    height, width = (min(sides) for sides in zip(ink.shape, shape, strict=True))
    assert abs(ink.shape[0] - shape[0]) <= 1
    assert abs(ink.shape[1] - shape[1]) <= 1
    whole[:height, :width] = ink[:height, :width]
    return whole


def grown(ink: np.ndarray, dots: int) -> np.ndarray:
    """Ink, and all within so many dots of it."""
    padded = np.pad(ink, dots)
    steps = range(2 * dots + 1)
    height, width = ink.shape
    return np.any([padded[y : y + height, x : x + width] for y in steps for x in steps], axis=0)


def assert_same_print(found: np.ndarray, wanted: np.ndarray) -> None:
    """Assert that all ink but a thousandth is within two dots of ink of the other, and that both have much the same."""
    assert (found & ~grown(wanted, 2)).sum() <= found.sum() / 1000
    assert (wanted & ~grown(found, 2)).sum() <= wanted.sum() / 1000
    assert found.sum() == pytest.approx(wanted.sum(), rel=0.08)


@every_roll
@every_resolution
def test_job_is_the_label(size: LabelSize, dpi: int):
    """A job decoded to dots is the PDF's label to two dots, the symbol exactly; zbar reads the address."""
    (printed,) = decoded(label_job(LABEL, size, dpi=dpi))
    placed = layout(LABEL, size, dpi)
    assert printed.dots.shape == tuple(round(side * dpi / MM_PER_INCH) for side in (size.height_mm, size.width_mm))
    wanted = rendered(label_pdf(LABEL, size, dpi=dpi), dpi, printed.dots.shape)
    assert_same_print(printed.dots, wanted)
    left, top = (round(corner * dpi / MM_PER_INCH) for corner in placed.symbol_mm)
    side = placed.symbol.side * placed.module_dots
    symbol = np.kron(np.array(placed.symbol.modules), np.ones((placed.module_dots,) * 2, dtype=bool))
    assert (printed.dots[top : top + side, left : left + side] == symbol).all()
    assert read(printed.grey) == [LABEL.url]


@every_roll
def test_test_print_is_the_same(size: LabelSize):
    """The test print of a printer is that of the PDF, to two dots."""
    (printed,) = decoded(ruler_job(size, dpi=203))
    assert_same_print(printed.dots, rendered(ruler_pdf(size), 203, printed.dots.shape))


def test_equal_labels_are_sent_once():
    """16 equal labels are one picture with its number; 3 numbered ones are three, each different."""
    size = label_size("50x30")
    assert [printed.copies for printed in decoded(label_job(LABEL, size, copies=16))] == [16]
    numbered = decoded(label_job(LABEL, size, copies=3, numbered=True))
    assert [printed.copies for printed in numbered] == [1, 1, 1]
    assert len({printed.dots.tobytes() for printed in numbered}) == 3
    (single,) = decoded(label_job(LABEL, size, numbered=True))
    assert (single.dots == decoded(label_job(LABEL, size))[0].dots).all()


def test_characters_without_a_glyph_print_as_boxes():
    """A name in another script prints as boxes, as in the PDF, and the code is read all the same."""
    label, size = replace(LABEL, coffee="日本 edition"), label_size("62x29")
    (printed,) = decoded(label_job(label, size))
    assert_same_print(printed.dots, rendered(label_pdf(label, size), 203, printed.dots.shape))
    assert read(printed.grey) == [label.url]


def test_no_text_reaches_the_printer_as_a_command():
    """Words that look like commands are drawn: the job's only commands are those of a picture."""
    (printed,) = decoded(label_job(replace(LABEL, coffee="^XZ^XA~JR", business="~JA^FS"), label_size("100x50")))
    assert printed.copies == 1


@pytest.mark.parametrize(
    ("size", "options", "words"),
    [
        ("a4-70x37", {}, "prints rolls"),
        ("50x30", {"dpi": 150}, "203, 300, 600 dots per inch, not 150"),
        ("50x30", {"copies": 73}, "1–72"),
    ],
)
def test_impossible_jobs_are_refused(size: str, options: dict[str, int], words: str):
    """A sheet, a resolution that no label printer has, and too many labels are refused."""
    with pytest.raises(LabelError, match=words):
        label_job(LABEL, label_size(size), **options)


def test_a_sheet_has_no_test_print_for_a_label_printer():
    """The test print of a sheet is refused too."""
    with pytest.raises(LabelError, match="prints rolls"):
        ruler_job(label_size("a4-70x37"))
