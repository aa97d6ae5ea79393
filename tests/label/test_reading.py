"""Reading of QR symbols in pictures of our labels, rendered by PDFium: turned, blurred, small, in bad light."""

import io

import pypdfium2 as pdfium
import pytest
from PIL import Image, ImageEnhance, ImageFilter

from roastlog.errors import PictureRefused
from roastlog.label.layout import Label
from roastlog.label.reading import qr_texts
from roastlog.label.sheets import label_pdf
from roastlog.label.stock import SIZES
from tests.test_pictures import bomb, encoded

URL = "https://roastery.example/r/hZ3kQ9vT1xYbN7wL2mPq"
LABEL = Label(
    coffee="Alder washed", code="26330-04M", url=URL, business="Quillwater Roasters", roasted_on="26 Nov 2026"
)


def photo(name: str = "62x29", dpi: int = 203, label: Label = LABEL) -> Image.Image:
    """A printed label on a grey bench."""
    with pdfium.PdfDocument(label_pdf(label, SIZES[name], dpi=203)) as document:
        printed = document[0].render(scale=dpi / 72).to_pil().convert("RGB")
    bench = Image.new("RGB", (printed.width + 200, printed.height + 200), "#777066")
    bench.paste(printed, (100, 100))
    return bench


def jpeg(picture: Image.Image, quality: int = 80) -> bytes:
    """JPEG in the form that a page sends."""
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=quality)
    return out.getvalue()


@pytest.mark.parametrize("name", list(SIZES))
def test_every_label_is_read(name: str):
    """A straight photo of each size is read."""
    assert set(qr_texts(jpeg(photo(name)))) == {URL}


@pytest.mark.parametrize("angle", [7, 45, 90, 133, 180, 270])
def test_a_turned_label_is_read(angle: int):
    """A label is read in any orientation."""
    assert qr_texts(jpeg(photo().rotate(angle, expand=True, fillcolor="#777066"))) == [URL]


@pytest.mark.parametrize("spoilt", ["blurred", "small", "dim", "coarse"])
def test_a_poor_photo_is_read(spoilt: str):
    """A label is read out of focus by a third of a module, at 120 dpi, in a dim corner, and badly compressed."""
    pictures = {
        "blurred": lambda: jpeg(photo().filter(ImageFilter.GaussianBlur(1.5))),
        "small": lambda: jpeg(photo(dpi=120)),
        "dim": lambda: jpeg(ImageEnhance.Brightness(ImageEnhance.Contrast(photo()).enhance(0.4)).enhance(0.4)),
        "coarse": lambda: jpeg(photo(), quality=25),
    }
    assert qr_texts(pictures[spoilt]()) == [URL]


def test_a_picture_without_a_symbol_says_nothing():
    """A picture of an empty bench gives no error."""
    assert qr_texts(jpeg(Image.new("RGB", (640, 480), "#777066"))) == []


@pytest.mark.parametrize("data", [b"no picture", bomb(5_000, 5_000), encoded("PNG", (400, 300))[:900]])
def test_invalid_picture_is_refused(data: bytes):
    """Text, a picture with too many pixels, and a truncated one are refused."""
    with pytest.raises(PictureRefused):
        qr_texts(data)
