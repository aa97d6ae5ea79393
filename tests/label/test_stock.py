"""Label stock by its measures and by its name."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.errors import LabelError
from roastlog.label.stock import A4_MM, SIZES, LabelSize, label_size, roll, sheet


def test_common_sizes_are_found_by_name():
    """Each size that pages offer is found by its name, the one of earlier versions among them."""
    assert [label_size(name) for name in SIZES] == list(SIZES.values())
    assert label_size("a4-70x37").per_page == 24


def test_any_roll_and_sheet_has_a_name():
    """A roll of any measures, and a sheet with margins and gaps, are written as text and read again."""
    assert label_size("80x40") == roll(80, 40)
    small = sheet(63.5, 38.1, columns=3, rows=7, margin_mm=(7.2, 15.1), gap_mm=(2.5, 0))
    assert small.name == "a4-63.5x38.1-3x7-7.2x15.1-2.5x0"
    assert label_size(small.name) == small
    assert small.corner_mm(4) == pytest.approx((7.2 + 66.0, 15.1 + 38.1))
    assert small.corner_mm(20) == pytest.approx((7.2 + 2 * 66.0, 15.1 + 6 * 38.1))


lengths = st.integers(1500, 9000).map(lambda hundredths: hundredths / 100)
gaps = st.integers(0, 2000).map(lambda hundredths: hundredths / 100)


@given(lengths, lengths, st.integers(1, 6), st.integers(1, 10), st.tuples(gaps, gaps), st.tuples(gaps, gaps))
def test_a_sheet_that_is_accepted_lies_on_its_page(
    width: float, height: float, columns: int, rows: int, margin: tuple[float, float], gap: tuple[float, float]
):
    """Every label of any accepted sheet lies on the paper and apart from its neighbours; its name leads back to it."""
    try:
        size = sheet(width, height, columns=columns, rows=rows, margin_mm=margin, gap_mm=gap)
    except LabelError:
        assert (
            margin[0] + columns * width + (columns - 1) * gap[0] > A4_MM[0]
            or margin[1] + rows * height + (rows - 1) * gap[1] > A4_MM[1]
        )
        return
    assert_on_page(size)
    assert label_size(size.name) == size


def assert_on_page(size: LabelSize) -> None:
    """Assert that the first and the last label are on the page, and that two neighbours do not overlap."""
    assert min(size.corner_mm(0)) >= 0
    x, y = size.corner_mm(size.per_page - 1)
    assert x + size.width_mm <= size.page_mm[0] + 0.01
    assert y + size.height_mm <= size.page_mm[1] + 0.01
    assert size.pitch_mm >= (size.width_mm, size.height_mm)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("10x30", "15–300 mm"),
        ("50x999", "15–300 mm"),
        ("a4-70x37-4x8-0x0-0x0", "280 mm wide together, with margin and gaps; the page is 210 mm wide"),
        ("a4-70x37-3x8-0x0-0x2", "310 mm high together, with margin and gaps; the page is 297 mm high"),
        ("a4-70x37-0x8-0x0-0x0", "1–40 columns"),
        ("50x", "no label size"),
        ("5e1x30", "no label size"),
        ("50x30_9", "no label size"),
        ("٥٠x٣٠", "no label size"),
        ("", "50x30, an A4 sheet like a4-70x37-3x8-0x0.5-0x0"),
    ],
)
def test_impossible_stock_is_refused(name: str, words: str):
    """Text that is no stock, and labels that do not fit on the page, are refused with the measures."""
    with pytest.raises(LabelError, match=words):
        label_size(name)


def test_negative_margins_are_refused():
    """A margin below zero lies beside the paper."""
    with pytest.raises(LabelError, match="0 mm or more"):
        sheet(70, 37, columns=1, rows=1, margin_mm=(-1, 0))
