"""The small curve: static, light, faithful to the shape, with captions apart."""

import re
from concurrent.futures import ThreadPoolExecutor
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from playwright.sync_api import sync_playwright

from roastlog.errors import CurveError
from roastlog.plot.small import MOST_POINTS, small_curve_svg
from tests import chromium

TIME = np.arange(0.0, 558.0, 0.5)
TEMP = 205 * np.exp(-TIME / 35) + (60 + 168 * (1 - np.exp(-TIME / 230))) * (1 - np.exp(-TIME / 40))
MOMENTS = {"charge": 0.0, "yellow": 288.0, "first_crack": 482.0, "drop": 557.0}
ALL_MOMENTS = {**MOMENTS, "turning_point": 75.0, "first_crack_fading": 520.0, "second_crack": 548.0}
SVG = "{http://www.w3.org/2000/svg}"


def parts(svg: str) -> list[np.ndarray]:
    """Unbroken parts of the drawn line, as points."""
    path = re.search(r'class="small-curve-line" d="([^"]*)"', svg)
    assert path is not None
    return [np.array([[float(n) for n in p.split()] for p in part.split("L")]) for part in path[1].split("M")[1:]]


def tree_of(svg: str) -> ET.Element:
    """The drawing, parsed as well-formed XML."""
    return ET.fromstring(svg)  # noqa: S314, made by us a moment ago


def test_the_shape_is_kept():
    """The line deviates less than one unit of 200 from the curve, with few points and under 8 KB."""
    svg = small_curve_svg(TIME, TEMP, {}, label="Curve")
    (line,) = parts(svg)
    x = 5 + TIME / TIME[-1] * 590
    y = 5 + (TEMP.max() - TEMP) / (TEMP.max() - TEMP.min()) * (195 - 10)
    assert np.abs(np.interp(x, line[:, 0], line[:, 1]) - y).max() < 1
    assert len(line) <= MOST_POINTS
    assert len(svg) < 8192


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 3000), st.integers(0, 2**32 - 1), st.floats(0, 1))
def test_any_curve_stays_light(readings: int, seed: int, missing: float):
    """Noise, gaps and length never exceed 8 KB, and every coordinate is inside the drawing."""
    random = np.random.default_rng(seed)
    temp = random.normal(150, 60, readings)
    temp[random.random(readings) < missing] = np.nan
    svg = small_curve_svg(np.arange(readings), temp, ALL_MOMENTS, label="Curve")
    assert len(svg.encode()) < 8192
    assert "nan" not in svg
    if np.isfinite(temp).any():
        points = np.vstack(parts(svg))
        assert len(points) <= MOST_POINTS
        assert points.min() >= 0
        assert points[:, 0].max() <= 600
        assert points[:, 1].max() <= 200


def test_gaps_stay_gaps():
    """Missing readings break the line."""
    temp = TEMP.copy()
    temp[400:480] = np.nan
    first, second = parts(small_curve_svg(TIME, temp, {}, label="Curve"))
    assert first[-1, 0] == pytest.approx(5 + 199.5 / 557.5 * 590, abs=0.1)
    assert second[0, 0] == pytest.approx(5 + 240 / 557.5 * 590, abs=0.1)


def test_words_and_times_of_moments():
    """Charge has no time, the others have theirs, in order; those off the curve are omitted."""
    svg = small_curve_svg(TIME, TEMP, {"drop": 557, "charge": 0, "first_crack": 482.6, "later": 900}, label="Curve")
    assert [text.text for text in tree_of(svg).iter(f"{SVG}text")] == ["charge", "first crack 8:02", "drop 9:17"]


def test_everything_is_escaped_and_still():
    """HTML in a name or the label stays text; there is no script, no handler and no link."""
    svg = small_curve_svg(TIME, TEMP, {"<script>&": 100.0}, label='<img src=x onerror="a">')
    tree = tree_of(svg)
    assert {element.tag.removeprefix(SVG) for element in tree.iter()} <= {"svg", "title", "path", "g", "circle", "text"}
    title = tree.find(f"{SVG}title")
    assert title is not None
    assert title.text == '<img src=x onerror="a">'
    assert not any(key.startswith("on") or "href" in key for element in tree.iter() for key in element.attrib)


def test_colours_come_from_the_page():
    """No colour is fixed: each is a property of the page's theme with the text colour behind it."""
    svg = small_curve_svg(TIME, TEMP, MOMENTS, label="Curve")
    assert not re.search(r"#[0-9a-f]{3}|rgb", svg)
    assert {"--probe", "--ink-2"} == set(re.findall(r"var\((--[\w-]+),currentColor\)", svg))


@pytest.mark.parametrize(
    ("time", "temp"),
    [
        ([], []),
        ([0.0], [np.nan]),
        ([0.0], [200.0]),
        ([0.0, 1.0], [200.0, 200.0]),
        ([0.0, 1.0, 2.0], [1.0, np.nan, 3.0]),
    ],
)
def test_small_and_empty_curves(time: list[float], temp: list[float]):
    """Nothing, one reading, a flat line and lone readings give well-formed SVG."""
    tree = tree_of(small_curve_svg(time, temp, {"charge": 0.0}, label="Curve"))
    assert tree.findtext(f"{SVG}title") == "Curve"


@pytest.mark.parametrize(
    ("time", "temp"), [([0, 1], [1]), ([0, 0], [1, 2]), ([1, 0], [1, 2]), ([0, np.nan], [1, 2]), ([[0]], [[1]])]
)
def test_no_curve_can_be_made(time: list[float], temp: list[float]):
    """Different lengths, and times that do not increase, are refused."""
    with pytest.raises(CurveError):
        small_curve_svg(time, temp, {}, label="Curve")


MEASURE = """all => all.map(svg => [svg, ...svg.querySelectorAll("text")].map(part => {
    const box = part.getBoundingClientRect(); return [box.left, box.top, box.right, box.bottom]; }))"""


def measured(drawings: str, families: list[str]) -> list[list[list[list[float]]]]:
    """Boxes of each drawing and its captions in Chromium at a phone's width, for each font family."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium.shell(), args=chromium.FLAGS)
        page = browser.new_page(viewport={"width": 390, "height": 844})
        boxes = []
        for family in families:
            page.set_content(f"<body style='font-family:{family}'>{drawings}")
            boxes.append(page.eval_on_selector_all("svg", MEASURE))
        browser.close()
    return boxes


@pytest.mark.browser
def test_captions_keep_apart_in_a_browser():
    """In Chromium no caption overlaps or is clipped, with 2, 4 and 7 moments, in narrow and wide fonts."""
    some = [{"charge": 0, "drop": 557}, MOMENTS, ALL_MOMENTS]
    drawings = "".join(small_curve_svg(TIME, TEMP, moments, label="Curve") for moments in some)
    families = ["system-ui", "sans-serif", "serif", "DejaVu Sans"]
    with ThreadPoolExecutor(1) as thread:  # playwright's sync API needs a thread without another event loop
        found = thread.submit(measured, drawings, families).result()
    assert [[len(drawing) - 1 for drawing in family] for family in found] == [[2, 4, 7]] * len(families)
    for frame, *captions in (drawing for family in found for drawing in family):
        for i, a in enumerate(captions):
            assert a[0] >= frame[0] - 1
            assert a[2] <= frame[2] + 1
            assert a[3] <= frame[3] + 1
            for b in captions[:i]:
                assert abs(a[1] - b[1]) >= 2 or a[0] >= b[2] or b[0] >= a[2]
