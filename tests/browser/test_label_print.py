"""The label page on paper: true millimetres on screen and in what the browser prints."""

import re

import pypdfium2
import pytest

from tests import zbar
from tests.browser.screen import Screen
from tests.browser.server import Server

PX_PER_MM = 96 / 25.4  # CSS Values and Units: 1 in = 2.54 cm = 96 px [memory]
PT_PER_MM = 72 / 25.4
SIZES = {"50x30": (50, 30), "62x29": (62, 29), "100x50": (100, 50), "a4-70x37": (210, 297)}


@pytest.mark.parametrize("name", SIZES)
def test_label_prints_in_true_millimetres(name: str, demo: Server, tablet: Screen):
    """A printed page has the label alone at its true size; the browser's print is read at 203 dpi."""
    width_mm, height_mm = SIZES[name]
    code = next(batch["code"] for batch in demo.get("/api/batches")["batches"] if batch["roasted_g"])
    tablet.open(f"/batches/{code}/label?size={name}")
    address = tablet.page.locator("dl a").inner_text()
    tablet.page.emulate_media(media="print")
    pages = tablet.page.locator(".label-page")
    assert pages.count() == 1
    box = pages.bounding_box()
    assert box is not None
    assert box["width"] == pytest.approx(width_mm * PX_PER_MM, abs=0.5)
    assert box["height"] == pytest.approx(height_mm * PX_PER_MM, abs=0.5)
    assert tablet.page.get_by_role("button").or_(tablet.page.get_by_role("link")).filter(visible=True).count() == 0

    paper = pypdfium2.PdfDocument(tablet.page.pdf(prefer_css_page_size=True))
    assert len(paper) == 1
    assert paper[0].get_size() == pytest.approx((width_mm * PT_PER_MM, height_mm * PT_PER_MM), abs=1.0)
    assert zbar.read(paper[0].render(scale=203 / 72, grayscale=True).to_numpy()) == [address]


def test_all_labels_of_a_roll_are_printed(demo: Server, tablet: Screen):
    """The screen shows the first of five numbered labels; the print has one page each, with its number and the code."""
    code = next(batch["code"] for batch in demo.get("/api/batches")["batches"] if batch["roasted_g"])
    tablet.open(f"/batches/{code}/label?size=62x29&bag=250&copies=5&numbered=1")
    address = tablet.page.locator("dl a").inner_text()
    assert tablet.page.locator(".label-page").filter(visible=True).count() == 1
    tablet.page.emulate_media(media="print")
    paper = pypdfium2.PdfDocument(tablet.page.pdf(prefer_css_page_size=True))
    texts = ["".join(page.get_textpage().get_text_range().split()) for page in paper]  # a browser sets single letters
    assert [re.findall(r"250g·(\d)of5", text) for text in texts] == [[str(number)] for number in range(1, 6)]
    for page in paper:
        assert zbar.read(page.render(scale=203 / 72, grayscale=True).to_numpy()) == [address]
