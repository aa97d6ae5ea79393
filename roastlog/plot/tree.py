"""A tree of movements as static SVG: columns of boxes, joined by bands whose widths are grams. No script."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

WIDTH: Final = 1100
BOX_WIDTH: Final = 190
LEAST_BOX: Final = 44
GAP: Final = 10
HEAD: Final = 26
TALLEST: Final = 520  # what the largest column may take, before its gaps and small boxes
TEXT: Final = 14


@dataclass(frozen=True)
class Box:
    """A box: its first line is bold. ``href`` makes it a link."""

    key: str
    lines: Sequence[str]
    grams: int
    href: str = ""


@dataclass(frozen=True)
class Band:
    """Grams from one box to another, by their keys."""

    source: str
    target: str
    grams: int


@dataclass(frozen=True)
class _Placed:
    x: float
    y: float
    height: float


def tree_svg(columns: Sequence[tuple[str, Sequence[Box]]], bands: Sequence[Band], *, label: str) -> str:
    """The tree as an inline SVG.

    Parameters
    ----------
    columns
        From left to right, each with its heading and its boxes from top to bottom. Empty ones are left out.
    bands
        Bands between boxes of different columns; others are left out.
    label
        Text alternative of the drawing; a table beside it has the values.

    Returns
    -------
    str
        ``<svg>`` element; colours come from the page, ``--band`` for bands and ``currentColor`` for the rest.
    """
    shown = [(head, boxes) for head, boxes in columns if boxes]
    scale = TALLEST / max((sum(box.grams for box in boxes) for _, boxes in shown), default=1) if shown else 1
    places = _places(shown, scale)
    height = max((place.y + place.height for place in places.values()), default=HEAD) + 4
    body = [
        f'<text class="tree-head" x="{_x(column, len(shown)):.1f}" y="14">{escape(head)}</text>'
        for column, (head, _) in enumerate(shown)
    ]
    body += _bands(bands, places, scale)
    body += [_box(box, places[box.key]) for _, boxes in shown for box in boxes]
    return (
        f'<svg class="tree" viewBox="0 0 {WIDTH} {height:.0f}" role="img" aria-label="{escape(label)}"'
        f' font-size="{TEXT}">{"".join(body)}</svg>'
    )


def _x(column: int, columns: int) -> float:
    return column * (WIDTH - BOX_WIDTH) / max(columns - 1, 1)


def _places(columns: Sequence[tuple[str, Sequence[Box]]], scale: float) -> dict[str, _Placed]:
    places: dict[str, _Placed] = {}
    for column, (_, boxes) in enumerate(columns):
        y = float(HEAD)
        for box in boxes:
            height = max(LEAST_BOX, box.grams * scale, 10 + 18 * len(box.lines))
            places[box.key] = _Placed(_x(column, len(columns)), y, height)
            y += height + GAP
    return places


def _bands(bands: Sequence[Band], places: Mapping[str, _Placed], scale: float) -> list[str]:
    """Each band as a shape; those at one side of a box lie under each other, in the order of their other ends."""
    known = [band for band in bands if band.source in places and band.target in places]
    known = [band for band in known if places[band.source].x < places[band.target].x]
    starts, ends = _offsets(known, places, scale, out=True), _offsets(known, places, scale, out=False)
    return [
        _band(places[band.source], starts[index], places[band.target], ends[index], max(1.0, band.grams * scale))
        for index, band in enumerate(known)
    ]


def _offsets(bands: Sequence[Band], places: Mapping[str, _Placed], scale: float, *, out: bool) -> dict[int, float]:
    used: dict[str, float] = {}
    offsets: dict[int, float] = {}
    for index in sorted(range(len(bands)), key=lambda i: places[bands[i].target if out else bands[i].source].y):
        key = bands[index].source if out else bands[index].target
        offsets[index] = used.get(key, 0.0)
        used[key] = offsets[index] + max(1.0, bands[index].grams * scale)
    return offsets


def _band(source: _Placed, from_y: float, target: _Placed, to_y: float, width: float) -> str:
    x1, y1, x2, y2 = source.x + BOX_WIDTH, source.y + from_y, target.x, target.y + to_y
    middle = (x1 + x2) / 2
    there = f"M{x1:.1f} {y1:.1f}C{middle:.1f} {y1:.1f} {middle:.1f} {y2:.1f} {x2:.1f} {y2:.1f}"
    back = f"V{y2 + width:.1f}C{middle:.1f} {y2 + width:.1f} {middle:.1f} {y1 + width:.1f} {x1:.1f} {y1 + width:.1f}Z"
    return f'<path class="tree-band" d="{there}{back}"/>'


def _box(box: Box, place: _Placed) -> str:
    rect = f'<rect x="{place.x:.1f}" y="{place.y:.1f}" width="{BOX_WIDTH}" height="{place.height:.1f}"/>'
    words = "".join(
        f'<text class="{"tree-line" if row else "tree-name"}" x="{place.x + 8:.1f}" y="{place.y + 19 + 18 * row:.1f}">'
        f"{escape(_cut(line))}</text>"
        for row, line in enumerate(box.lines)
    )
    inside = f'<g class="tree-box">{rect}{words}</g>'
    return f'<a href="{escape(box.href)}">{inside}</a>' if box.href else inside


def _cut(line: str, most: int = 25) -> str:
    return line if len(line) <= most else f"{line[: most - 1].rstrip()}…"
