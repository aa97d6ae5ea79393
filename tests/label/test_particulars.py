"""Particulars that the law asks of a label, and the heights of its type as they are printed."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest

from roastlog.label.drawing import MM_PER_INCH
from roastlog.label.layout import Label, Layout, layout
from roastlog.label.limits import FIGURES_SOURCE, LEAST_X_MM, LEAST_X_SMALL_PACK_MM, X_SOURCE, least_figures_mm
from roastlog.label.particulars import PARTICULARS, Missing, missing
from roastlog.label.sheets import label_pdf
from roastlog.label.stock import SIZES, LabelSize, label_size, roll

WHOLE = Label(
    coffee="Alder washed", food="Roast coffee, whole beans", code="L26330-04M", url="https://coffee.example/r/hZ3kQ9vT1x",
    business="Quillwater Roasters", address="Mill Lane 3, 12345 Harbour Town", best_before="26 May 2027",
    net_weight="250 g", net_g=250, origin="Huila, Colombia", storage="Store cool and dry.", count="3 of 16",
)  # fmt: skip
LARGE = label_size("100x50")
FIELDS = {
    "food": "food", "net_weight": "net_weight", "best_before": "best_before", "operator": "address",
    "storage": "storage", "origin": "origin",
}  # fmt: skip


def lacking(label: Label, size: LabelSize = LARGE) -> dict[str, Missing]:
    """The particulars that a label lacks, by part."""
    return {found.particular.part: found for found in missing(layout(label, size))}


def test_a_whole_label_lacks_nothing():
    """A label with everything has everything, also with its date stamped elsewhere on the bag."""
    assert lacking(WHOLE) == {}
    assert lacking(replace(WHOLE, best_before="see the bottom of the bag")) == {}


@pytest.mark.parametrize(("part", "field"), FIELDS.items(), ids=FIELDS.keys())
def test_each_particular_that_is_not_given_is_named(part: str, field: str):
    """A label without one particular lacks only that one, with its source; storage and origin under a condition."""
    found = lacking(replace(WHOLE, **{field: " "}))
    assert [*found] == [part]
    assert found[part].reason == "Not given."
    assert any(law in found[part].source for law in ("1169/2011", "2011/91"))
    assert found[part].is_certain == (part not in {"storage", "origin"})


def test_confidence_of_each_is_stated():
    """All of the list is from memory, as in the project's reference facts (section 8)."""
    assert {particular.confidence for particular in PARTICULARS} == {"memory"}


def test_business_without_its_name_is_lacking():
    """An address alone does not name the operator."""
    assert [*lacking(replace(WHOLE, business=""))] == ["operator"]


def test_a_lot_mark_begins_with_l():
    """The bare code of the batch is no lot mark."""
    found = lacking(replace(WHOLE, code="26330-04M"))
    assert [*found] == ["code"]
    assert "begins with L" in found["code"].reason


def test_net_weight_is_metric():
    """Ounces alone are not enough; grams beside them are."""
    assert "g or kg" in lacking(replace(WHOLE, net_weight="8.8 oz"))["net_weight"].reason
    assert lacking(replace(WHOLE, net_weight="250 g (8.8 oz)")) == {}


def test_what_does_not_fit_is_lacking():
    """A particular that was cut or left out counts as lacking, with the remedy."""
    found = lacking(replace(WHOLE, storage="Store cool and dry, closed and in the dark. " * 20), label_size("62x29"))
    assert "larger" in found["storage"].reason
    placed = layout(replace(WHOLE, address="Mill Lane 3, 12345 Harbour Town, " * 9), label_size("50x30"))
    assert "operator" in placed.shortened
    assert "operator" in {lack.particular.part for lack in missing(placed)}


@pytest.mark.parametrize(
    ("net_g", "least_mm"), [(5, 2), (50, 2), (51, 3), (200, 3), (201, 4), (1000, 4), (1001, 6), (5000, 6)]
)
def test_figures_grow_with_the_weight(net_g: float, least_mm: float):
    """Directive 76/211/EEC, Annex I [memory]: 2 mm up to 50 g, 3 mm up to 200 g, 4 mm up to 1 kg, 6 mm above."""
    assert least_figures_mm(net_g) == least_mm
    text = f"{net_g} g" if net_g <= 1000 else f"{net_g / 1000:g} kg"
    placed = layout(replace(WHOLE, net_weight=text, net_g=net_g), LARGE)
    (line,) = (line for line in placed.lines if line.part == "net_weight")
    assert line.figure_height_mm >= least_mm
    assert missing(placed) == ()


def test_figures_that_are_too_small_are_reported():
    """Where the law's figures are wider than the label, or the grams are not said, the height is given in mm."""
    long = lacking(replace(WHOLE, net_weight="12.345 kg", net_g=12_345, address="", storage=""), roll(40, 40))
    assert "the law asks for 6.0 mm" in long["net_weight"].reason
    assert "76/211" in long["net_weight"].source
    assert "the law asks for 2.0 mm" in lacking(replace(WHOLE, net_g=None), label_size("50x30"))["net_weight"].reason


def test_small_letters_are_reported():
    """A lot mark that is squeezed under a small symbol falls below 1.2 mm, but not below the 0.9 mm of a small pack."""
    squeezed = replace(WHOLE, code="L26330-1043-2")
    size = roll(62, 22)
    assert "Its letter x is" in lacking(squeezed, size)["code"].reason
    assert "code" not in lacking(replace(squeezed, small_pack=True), size)


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES.keys())
@pytest.mark.parametrize(("small_pack", "least_mm"), [(False, LEAST_X_MM), (True, LEAST_X_SMALL_PACK_MM)])
def test_no_particular_is_printed_too_small(size: LabelSize, small_pack: bool, least_mm: float):
    """On every size each particular that is printed has at least the law's height of x: 1.2 mm, small packs 0.9 mm."""
    placed = layout(replace(WHOLE, small_pack=small_pack), size)
    parts = {particular.part for particular in PARTICULARS}
    assert min(line.x_height_mm for line in placed.lines if line.part in parts) >= least_mm


def test_a_small_pack_gets_more_on_the_same_label():
    """At 50 × 30 mm everything fits only with the type of a small pack."""
    size = label_size("50x30")
    assert "origin" in lacking(WHOLE, size)
    assert lacking(replace(WHOLE, small_pack=True), size) == {}


def ink_height_mm(placed: Layout, pdf: bytes, part: str) -> float:
    """Height of the ink of a part's only line, measured in the rendered PDF."""
    dpi = 1200
    (line,) = (line for line in placed.lines if line.part == part)
    with pdfium.PdfDocument(pdf) as document:
        picture = document[0].render(scale=dpi / 72, grayscale=True).to_numpy().squeeze()
    top, bottom, left, right = (
        round(edge * dpi / MM_PER_INCH)
        for edge in (
            line.baseline_mm - line.size_mm * 0.9,
            line.baseline_mm + line.size_mm * 0.2,
            line.x_mm,
            line.x_mm + line.width_mm,
        )
    )
    rows = np.flatnonzero((picture[top:bottom, left:right] < 128).any(axis=1))
    return float(rows[-1] - rows[0] + 1) * MM_PER_INCH / dpi


@pytest.mark.parametrize("name", ["50x30", "100x50"])
def test_heights_are_those_of_the_ink(name: str):
    """PDFium prints the letter x and the figures as high as the layout says, to 0.05 mm."""
    label = replace(WHOLE, food="xxx", net_weight="117", net_g=117)
    placed, pdf = layout(label, label_size(name)), label_pdf(label, label_size(name))
    lines = {line.part: line for line in placed.lines}
    assert ink_height_mm(placed, pdf, "food") == pytest.approx(lines["food"].x_height_mm, abs=0.05)
    assert ink_height_mm(placed, pdf, "net_weight") == pytest.approx(lines["net_weight"].figure_height_mm, abs=0.05)


def test_words_of_other_countries_stand_on_the_label():
    """The free text is printed in whole where it fits."""
    words = "Zutaten: Kaffee. Torréfié à Harbour Town."
    placed = layout(replace(WHOLE, free_text=words), LARGE)
    assert " ".join(line.text for line in placed.lines if line.part == "free_text") == words
    assert "free_text" not in placed.shortened


def test_docs_have_each_particular_and_limit():
    """docs/labels.md names every particular with its source, and every limit."""
    docs = (Path(__file__).parents[2] / "docs" / "labels.md").read_text(encoding="utf-8")
    for particular in PARTICULARS:
        assert re.search(rf"^\| {particular.name}.*\| {re.escape(particular.source)} \|$", docs, re.MULTILINE), (
            particular
        )
    for source in (X_SOURCE, FIGURES_SOURCE):
        assert f"| {source} |" in docs
    assert f"{LEAST_X_MM} mm; {LEAST_X_SMALL_PACK_MM} mm" in docs
    steps = ((50, "up to 50 g"), (200, "up to 200 g"), (1000, "up to 1 kg"), (1001, "above"))
    assert ", ".join(f"{least_figures_mm(net_g):g} mm {words}" for net_g, words in steps) in docs
