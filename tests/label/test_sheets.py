"""Labels: the PDF, rendered by PDFium and read by zbar, neither of which shares code with fpdf2 or qrcode."""

import io
import re
from dataclasses import replace
from functools import cache
from itertools import combinations

import numpy as np
import pypdfium2 as pdfium
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roastlog.errors import LabelError
from roastlog.label.drawing import MM_PER_INCH, TextLine
from roastlog.label.fonts import ASCENT_EM, LINE_EM, normalize
from roastlog.label.layout import MIN_TEXT_MM, Label, Layout, layout
from roastlog.label.qr import QUIET
from roastlog.label.sheets import label_pages, label_pdf, labels, missing_characters
from roastlog.label.stock import SIZES, LabelSize
from tests.zbar import read

URL = "https://192.168.178.24:8443/r/hZ3kQ9vT1xYbN7wL2mPq"
SHORT = Label(
    coffee="Alder washed", subtitle="for filter · bright, stone fruit", code="26330-04M", url=URL,
    roasted_on="26 Nov 2026", best_before="26 May 2027", net_weight="250 g", business="Quillwater Roasters",
    origin="Huila, Colombia", count="3 of 16",
)  # fmt: skip
LONG = Label(
    coffee="Señorita Žluťoučký kůň Finca El Paraíso lot 17 anaerobic natural, 日本 <b>edition</b>",
    subtitle="for espresso and also filter · chocolate, nougat, candied orange peel and a little smoke",
    code="26330-1043", url=URL + "/and-a-longer-path-of-it", roasted_on="26 November 2026",
    best_before="26 May 2027", net_weight="1 000 g", business="Quillwater Roasters of the Lower Harbour",
    note="Fresh coffee gives off gas. Store the bag closed, cool and dry; grind just before brewing.",
    origin="Huila and Cauca, smallholders of the upper valley, above 1900 m", count="71 of 72",
)  # fmt: skip
LAWFUL = replace(
    SHORT, code="L26330-04M", food="Roast coffee, whole beans", address="Mill Lane 3, 12345 Harbour Town", net_g=250,
    storage="Store cool and dry.", free_text="Contains nothing but coffee.",
)  # fmt: skip
BARE = Label(coffee="", code="26330-04M", url=URL)
LABELS = {"short": SHORT, "long": LONG, "lawful": LAWFUL, "bare": BARE}
every_size = pytest.mark.parametrize("size", SIZES.values(), ids=SIZES.keys())
every_label = pytest.mark.parametrize("label", LABELS.values(), ids=LABELS.keys())


def render(pdf: bytes, dpi: int, page: int = 0) -> np.ndarray:
    """Page of a PDF as grey values, one pixel per printer dot."""
    with pdfium.PdfDocument(pdf) as document:
        return document[page].render(scale=dpi / 72, grayscale=True).to_numpy().squeeze().copy()


@cache
def printed(label: Label, size: LabelSize) -> tuple[Layout, np.ndarray]:
    """A label's layout for 203 dpi and its rendered first page."""
    return layout(label, size, 203), render(label_pdf(label, size, dpi=203), 203)


@every_size
@every_label
def test_zbar_reads_the_print(label: Label, size: LabelSize):
    """At 203 dpi an independent decoder reads the same address from every size."""
    assert read(printed(label, size)[1]) == [label.url]


@every_size
@every_label
def test_modules_are_whole_dots(label: Label, size: LabelSize):
    """In the rendered bitmap each module is the same whole number of dots, at least 3, with sharp edges."""
    placed, picture = printed(label, size)
    dots, side = placed.module_dots, placed.symbol.side
    assert dots >= 3
    corner_mm = size.corner_mm(0)
    left, top = (round((a + b) * 203 / MM_PER_INCH) for a, b in zip(corner_mm, placed.symbol_mm, strict=True))
    symbol = picture[top : top + side * dots, left : left + side * dots] < 128
    wanted = np.kron(np.array(placed.symbol.modules), np.ones((dots, dots), dtype=bool))
    assert (symbol == wanted).all()


@every_size
@every_label
def test_quiet_zone_is_white(label: Label, size: LabelSize):
    """Four modules around the symbol are white in the bitmap (ISO/IEC 18004), and lie on the label."""
    placed, picture = printed(label, size)
    quiet, side = QUIET * placed.module_dots, placed.symbol.side * placed.module_dots
    corner_mm = size.corner_mm(0)
    left, top = (round((a + b) * 203 / MM_PER_INCH) for a, b in zip(corner_mm, placed.symbol_mm, strict=True))
    zone = picture[top - quiet : top + side + quiet, left - quiet : left + side + quiet].copy()
    assert zone.shape == (side + 2 * quiet, side + 2 * quiet)
    zone[quiet:-quiet, quiet:-quiet] = 255
    assert (zone > 245).all()  # numbers in a PDF are rounded: up to 2 % of a dot may be visible at the border


def boxes(placed: Layout) -> list[tuple[float, float, float, float]]:
    """Area of each part."""
    return [box_mm(line) for line in placed.lines] + [placed.quiet_box_mm]


def box_mm(line: TextLine) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of the area of a line."""
    top = line.baseline_mm - ASCENT_EM * line.size_mm
    return line.x_mm, top, line.x_mm + line.width_mm, top + LINE_EM * line.size_mm


def assert_in_place(placed: Layout) -> None:
    """Assert that nothing is outside the label or overlaps."""
    size, small = placed.size, 1e-6
    for left, top, right, bottom in boxes(placed):
        assert left >= -small
        assert top >= -small
        assert right <= size.width_mm + small
        assert bottom <= size.height_mm + small
    for a, b in combinations(boxes(placed), 2):
        apart = a[2] <= b[0] + small or b[2] <= a[0] + small or a[3] <= b[1] + small or b[3] <= a[1] + small
        assert apart, (a, b)
    if placed.rule_mm:
        left, right, height = placed.rule_mm
        for box in boxes(placed):
            assert box[3] <= height or box[1] >= height or box[2] <= left or box[0] >= right


@every_size
@every_label
def test_everything_has_its_place(label: Label, size: LabelSize):
    """No part leaves the label or overlaps another, at the printer's dots and at 300 dpi."""
    for dpi in (203, 300, size.dpi):
        assert_in_place(layout(label, size, dpi))


words = st.text(max_size=90) | st.sampled_from(
    ["<script>alert(1)</script>", "a" * 90, "日本" * 20, "&amp; <b>", "W" * 60]
)


@settings(max_examples=60, deadline=None)
@given(words, words, words, words, words, st.sampled_from(list(SIZES.values())))
def test_any_words_have_their_place(coffee: str, subtitle: str, business: str, origin: str, note: str, size: LabelSize):
    """With any text the parts stay inside and apart, and the symbol and the code are complete."""
    label = Label(
        coffee, "26330-04M", URL, business, subtitle, "26 Nov 2026", "26 May 2027", "250 g", note, origin, "71 of 72"
    )
    placed = layout(label, size)
    assert_in_place(placed)
    assert placed.symbol.text == URL
    assert {line.text for line in placed.lines if line.part == "code"} == {"26330-04M"}


@settings(max_examples=40, deadline=None)
@given(words, words, words, words, st.sampled_from([30.0, 250.0, 1500.0]), st.booleans(), st.sampled_from([*SIZES]))
def test_any_particulars_have_their_place(
    food: str, address: str, storage: str, free_text: str, net_g: float, small_pack: bool, size: str
):
    """With any words that the law asks for the parts stay inside and apart, and each is whole or reported as cut."""
    label = replace(
        LAWFUL, food=food, address=address, storage=storage, free_text=free_text, net_g=net_g, small_pack=small_pack
    )
    placed = layout(label, SIZES[size])
    assert_in_place(placed)
    for part, text in {"food": food, "storage": storage, "free_text": free_text}.items():
        printed_text = " ".join(line.text for line in placed.lines if line.part == part)
        assert part in placed.shortened or printed_text == normalize(text)


@settings(max_examples=15, deadline=None)
@given(words, st.sampled_from(list(SIZES.values())[:3]))
def test_any_name_prints(name: str, size: LabelSize):
    """Any name, with HTML or other scripts, gives a PDF that still reads as the address."""
    label = Label(name, "26330-04M", URL, roasted_on="26 Nov 2026", note=name)
    assert read(render(label_pdf(label, size), 203)) == [URL]


def test_code_stands_under_the_symbol():
    """The code is text below the symbol's quiet zone and can be copied from the PDF."""
    for size in SIZES.values():
        placed = layout(SHORT, size)
        code = next(line for line in placed.lines if line.part == "code")
        assert box_mm(code)[1] >= placed.quiet_box_mm[3] - 1e-6
        with pdfium.PdfDocument(label_pdf(SHORT, size)) as document:
            text = document[0].get_textpage().get_text_range()
        for words in ("26330-04M", "Alder", "washed", "Huila", "Best before 26 May 2027", "250 g · 3 of 16"):
            assert words in text


def test_pages_have_the_true_size():
    """Each page has the size's dimensions, to a tenth of a millimetre."""
    for size in SIZES.values():
        with pdfium.PdfDocument(label_pdf(BARE, size)) as document:
            measured = [points * MM_PER_INCH / 72 for points in document[0].get_size()]
        assert measured == pytest.approx(size.page_mm, abs=0.1)


def test_a_sheet_holds_as_many_as_asked():
    """28 labels from the third position on fill one A4 sheet and continue on the next; each can be read."""
    sheet = SIZES["a4-70x37"]
    pdf = label_pdf(SHORT, sheet, copies=28, skip=2)
    first, second = render(pdf, 203, 0), render(pdf, 203, 1)
    assert read(first) == [URL] * 22
    assert read(second) == [URL] * 6
    row_px = round(37 * 203 / MM_PER_INCH)
    assert (first[10:row_px, : 2 * round(70 * 203 / MM_PER_INCH)] == 255).all()
    with pdfium.PdfDocument(pdf) as document:
        assert len(document) == 2


def test_a_sheet_fits_its_page():
    """Every position of a sheet is on the page, and none overlaps another."""
    for size in SIZES.values():
        corners = [size.corner_mm(place) for place in range(size.per_page)]
        assert len(set(corners)) == size.per_page
        for x, y in corners:
            assert 0 <= x <= size.page_mm[0] - size.width_mm
            assert 0 <= y <= size.page_mm[1] - size.height_mm
        if size.per_page > 1:
            assert size.pitch_mm[0] >= size.width_mm
            assert size.pitch_mm[1] >= size.height_mm


def test_copies_on_a_roll():
    """Three labels of a roll are three pages."""
    with pdfium.PdfDocument(label_pdf(SHORT, SIZES["62x29"], copies=3)) as document:
        assert len(document) == 3


@every_size
def test_each_label_has_its_number(size: LabelSize):
    """Read back from the PDF, numbered labels count from 1 to their total, across pages; one alone has no number."""
    label = replace(SHORT, count="")
    with pdfium.PdfDocument(label_pdf(label, size, copies=26, numbered=True)) as document:
        text = "\n".join(page.get_textpage().get_text_range() for page in document)
    assert re.findall(r"250 g · (\d+) of 26", text) == [str(number) for number in range(1, 27)]
    pages = label_pages(label, size, copies=26, numbered=True)
    assert re.findall(r">250 g · (\d+) of 26<", "".join(pages)) == [str(number) for number in range(1, 27)]
    with pdfium.PdfDocument(label_pdf(label, size, numbered=True)) as document:
        assert " of 1" not in document[0].get_textpage().get_text_range()


@every_size
def test_numbered_labels_look_alike(size: LabelSize):
    """Labels with the law's figures have their number beside or above the weight, and differ in nothing else."""
    placed = labels(replace(LAWFUL, count=""), size, None, 12, numbered=True)
    assert [line.text for label in placed for line in label.lines if line.part == "count"] == [
        f"{number} of 12" for number in range(1, 13)
    ]
    others = [[line for line in label.lines if line.part != "count"] for label in placed]
    assert all(lines == others[0] for lines in others)
    assert len({(label.module_dots, label.symbol_mm, label.text_mm) for label in placed}) == 1


def test_every_size_has_room_for_net_weight_and_origin():
    """Each size of label shows net weight and origin of a plain coffee in whole, at no less than the smallest type."""
    for size in SIZES.values():
        lines = {line.part: line for line in layout(SHORT, size).lines}
        assert lines["origin"].text == "Huila, Colombia"
        assert lines["net_weight"].text == "250 g · 3 of 16"
        assert min(lines["origin"].size_mm, lines["net_weight"].size_mm) >= MIN_TEXT_MM


def test_finer_printers_get_finer_steps():
    """Modules are whole dots at any resolution and never smaller than 3 dots of a 203 dpi printer."""
    for dpi in (203, 300, 600):
        placed = layout(SHORT, SIZES["50x30"], dpi)
        assert placed.module_mm == pytest.approx(placed.module_dots * 25.4 / dpi)
        assert placed.module_mm >= 3 * 25.4 / 203 - 1e-9


@pytest.mark.parametrize(
    ("changes", "options", "words"),
    [
        ({"url": "https://example.org/" + "a" * 300}, {}, "larger label or a shorter address"),
        ({"url": ""}, {}, "needs an address"),
        ({"code": " "}, {}, "needs the batch's code"),
        ({"code": "26330-04M" * 5}, {}, "too long for this label"),
        ({"best_before": "some day in the far future " * 5}, {}, "Dates and weight do not fit"),
        ({}, {"dpi": 72}, "150–2400"),
        ({}, {"copies": 0}, "1–72"),
        ({}, {"copies": 73}, "1–72"),
        ({}, {"skip": 1}, "must be 0–0"),
        ({}, {"skip": -1}, "must be 0–0"),
    ],
)
def test_impossible_labels_are_refused(changes: dict[str, str], options: dict[str, int], words: str):
    """An impossible label is refused with a message that names a remedy."""
    label = Label(**{"coffee": "Alder", "code": "26330-04M", "url": URL, **changes})
    with pytest.raises(LabelError, match=words):
        label_pdf(label, SIZES["50x30"], **options)


def test_shortened_parts_are_reported():
    """A label names the parts that it shortened; one that shortened nothing names none."""
    assert layout(SHORT, SIZES["100x50"]).shortened == ()
    assert "note" in layout(LONG, SIZES["50x30"]).shortened
    assert "coffee" in layout(LONG, SIZES["50x30"]).shortened


def test_missing_characters_are_reported():
    """Characters that the PDF shows as boxes are listed once each; a plain label has none."""
    assert missing_characters(LONG) == "日本"
    assert missing_characters(SHORT) == ""


@every_size
def test_print_page_draws_the_same_layout(size: LabelSize):
    """The print page has the PDF's pages in millimetres, its lines at their positions, and no markup from names."""
    pages = label_pages(LONG, size, copies=size.per_page + 1)
    placed = layout(LONG, size)
    assert len(pages) == 2
    assert pages[0].count("<g transform") == size.per_page
    assert f'width="{size.page_mm[0]:g}mm"' in pages[0]
    assert "<b>" not in pages[0]
    drawn = re.findall(r'<text x="([\d.]+)" y="([\d.]+)"', pages[1])
    assert [(float(x), float(y)) for x, y in drawn] == [
        pytest.approx((line.x_mm, line.baseline_mm), abs=1e-3) for line in placed.lines
    ]


def test_text_is_black_only():
    """The PDF uses only black, since a thermal printer has no grey."""
    with pdfium.PdfDocument(io.BytesIO(label_pdf(SHORT, SIZES["50x30"]))) as document:
        picture = document[0].render(scale=8).to_numpy()
    assert (picture.max(axis=2) - picture.min(axis=2)).max() == 0
    assert picture.min() == 0
