"""Small curves as static SVG, for the bag page and for lists. No script, under 8 KB."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roastlog.errors import CurveError
from roastlog.units import clock_text

MOST_POINTS = 200
TEXT = 20  # type size in the drawing's own units; at 360 px of 600 it shows as 12 px
EDGE = 5
CHARACTER_EM = 0.57  # width of an average character of common system fonts, on the wide side
LABEL_GAP = 16

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class _Mark:
    """A moment on the curve: its position, and that of its caption."""

    x: float
    y: float
    text: str
    words_x: float
    row: int


def small_curve_svg(
    time_s: ArrayLike,
    temp_c: ArrayLike,
    moments: Mapping[str, float],
    *,
    width: int = 600,
    height: int = 200,
    label: str,
) -> str:
    """Curve as an inline SVG line, with its moments ticked and named under it.

    It scales with its page. Colours come from the page: the line from ``--probe``, words from ``--ink-2``,
    each with ``currentColor`` behind it. There are no axes: it shows a shape, the record shows the values.

    Parameters
    ----------
    time_s : array-like, shape (n,)
        Time since charge, increasing. [s]
    temp_c : array-like, shape (n,)
        Temperature; NaN leaves a gap. [°C]
    moments : mapping of str to float
        Time of each moment by its name, such as ``{"first_crack": 482.0}``; those off the curve are left out. [s]
    width, height : int
        Size of the drawing in its own units.
    label : str
        Text alternative of the drawing.

    Returns
    -------
    str
        ``<svg>`` element.

    Raises
    ------
    CurveError
        If the shapes differ or time does not increase.
    """
    time, temp = np.asarray(time_s, dtype=np.float64), np.asarray(temp_c, dtype=np.float64)
    if time.ndim != 1 or time.shape != temp.shape:
        raise CurveError("Times and temperatures must be two lists of the same length.")
    if not np.isfinite(time).all() or (np.diff(time) <= 0).any():
        raise CurveError("Times of a curve must be finite and increase.")
    seen = np.isfinite(temp)
    if not seen.any():
        return _svg(width, height, label, '<g class="small-curve-empty"></g>')
    start_s, end_s = float(time[0]), float(time[-1])
    inside = sorted((at_s, name) for name, at_s in moments.items() if start_s <= at_s <= end_s)
    x = EDGE + (time - start_s) / max(end_s - start_s, 1e-9) * (width - 2 * EDGE)
    texts = [_words(name, at_s) for at_s, name in inside]
    at_x = [float(np.interp(at_s, time, x)) for at_s, _ in inside]
    places = _spread(at_x, texts, width)
    rows = 1 + max((row for _, row in places), default=-1)
    foot = height - (rows * TEXT * 1.3 + TEXT * 0.9 if rows else EDGE)
    y = _heights(temp, foot)
    marks = [
        _Mark(at, float(np.interp(at, x[seen], y[seen])), text, words_x, row)
        for at, text, (words_x, row) in zip(at_x, texts, places, strict=True)
    ]
    line = f'<path class="small-curve-line" d="{_path(x, y)}"{_LINE_STYLE}/>'
    return _svg(width, height, label, _ticks(marks, foot, width) + line + _captions(marks, foot, width))


_LINE_STYLE = (
    ' fill="none" stroke-width="2" stroke-linejoin="round" stroke-linecap="round" vector-effect="non-scaling-stroke"'
    ' style="stroke:var(--probe,currentColor)"'
)


def _svg(width: int, height: int, label: str, inner: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="small-curve" viewBox="0 0 {width} {height}" role="img">'
        f"<title>{escape(label)}</title>{inner}</svg>"
    )


def _words(name: str, at_s: float) -> str:
    """Caption of a tick. Charge is always at zero, so it has no time."""
    plain = name.replace("_", " ")
    return plain if at_s == 0 else f"{plain} {clock_text(at_s)}"


def _half_width(text: str) -> float:
    return len(text) * CHARACTER_EM * TEXT / 2


def _heights(temp_c: Floats, foot: float) -> Floats:
    """Temperatures as heights: highest at the top edge, lowest just above the foot."""
    low, high = float(np.nanmin(temp_c)), float(np.nanmax(temp_c))
    if high - low < 1e-9:
        return np.where(np.isfinite(temp_c), (EDGE + foot) / 2, np.nan)
    heights: Floats = EDGE + (high - temp_c) / (high - low) * (foot - 2 * EDGE)
    return heights


def _spread(at_x: list[float], texts: list[str], width: int) -> list[tuple[float, int]]:
    """Middle and row of each caption: under its tick if possible, else moved aside or a row down.

    One row is tried first, then two, then more; captions alternate between the rows, so that each has more room. In the
    first row a leader connects a caption to its tick, so it may move by a quarter of the width; in a lower row it must
    be under its tick.
    """
    for rows in range(1, len(texts) + 1):
        places = [(0.0, 0)] * len(texts)
        for row in range(rows):
            chosen = range(row, len(texts), rows)
            halves = [_half_width(texts[i]) for i in chosen]
            stray = [half if row else max(half, width / 4) for half in halves]
            middles = _one_row([at_x[i] for i in chosen], halves, stray, width)
            if middles is None:
                break
            for i, middle in zip(chosen, middles, strict=True):
                places[i] = (middle, row)
        else:
            return places
    return []  # no captions at all: a row for each always has room


def _one_row(at_x: list[float], halves: list[float], stray: list[float], width: int) -> list[float] | None:
    """Middles of captions without overlap, inside the edges; None if they do not fit or stray from their ticks."""
    middles: list[float] = []
    left = 0.0
    for at, half in zip(at_x, halves, strict=True):  # from the left: no caption over the one before it
        middles.append(max(at, left + half))
        left = middles[-1] + half + LABEL_GAP
    right = float(width)
    for i in range(len(middles) - 1, -1, -1):  # from the right: none over the edge or the one after it
        middles[i] = min(middles[i], right - halves[i])
        right = middles[i] - halves[i] - LABEL_GAP
    strays = any(abs(middle - at) > most for middle, at, most in zip(middles, at_x, stray, strict=True))
    outside = middles[0] - halves[0] < -1e-6
    crowded = len(middles) > 1 and (strays or outside)  # a caption by itself stands wherever it fits
    return None if crowded else middles


def _ticks(marks: list[_Mark], foot: float, width: int) -> str:
    """Hairlines from the curve down to the foot, and on to the caption where it stands aside in the first row."""
    if not marks:
        return ""
    path = "".join(
        f"M{m.x:.1f} {m.y:.1f}V{foot:.1f}" + ("" if m.row else f"L{_leader_x(m, width):.1f} {foot + TEXT * 0.5:.1f}")
        for m in marks
    )
    return (
        f'<path class="small-curve-ticks" d="{path}" fill="none" vector-effect="non-scaling-stroke" '
        'style="stroke:var(--ink-2,currentColor)" stroke-opacity=".6" stroke-dasharray="2 3"/>'
    )


def _leader_x(mark: _Mark, width: int) -> float:
    """Position at which a leader meets its caption: as near to the tick as possible."""
    inset = _half_width(mark.text) - TEXT * 0.6
    near = min(max(mark.x, mark.words_x - inset), mark.words_x + inset)
    return mark.x if min(mark.x, width - mark.x) <= EDGE else near


def _captions(marks: list[_Mark], foot: float, width: int) -> str:
    if not marks:
        return ""
    dots = "".join(f'<circle cx="{m.x:.1f}" cy="{m.y:.1f}" r="4.5"/>' for m in marks)
    texts = "".join(
        f'<text {_anchor(m, width)} y="{foot + TEXT * (1.45 + 1.3 * m.row):.1f}">{escape(m.text)}</text>' for m in marks
    )
    return (
        f'<g class="small-curve-dots" style="fill:var(--probe,currentColor)">{dots}</g>'
        f'<g class="small-curve-words" font-size="{TEXT}" style="fill:var(--ink-2,currentColor)">{texts}</g>'
    )


def _anchor(mark: _Mark, width: int) -> str:
    """Text anchor: the edge that a caption touches, so that a wide font is not cut off there."""
    half = _half_width(mark.text)
    if mark.words_x - half < 1:
        return 'x="0"'
    if mark.words_x + half > width - 1:
        return f'x="{width}" text-anchor="end"'
    return f'x="{mark.words_x:.1f}" text-anchor="middle"'


def _path(x: Floats, y: Floats) -> str:
    """SVG path of the line, simplified to a few hundred points; missed readings leave gaps."""
    tolerance = 0.4
    group = max(1, len(x) // 150)
    kept = [_thin(_even(part, group), tolerance) for part in _parts(x, y)]
    while sum(map(len, kept)) > MOST_POINTS and tolerance < 100:
        tolerance *= 1.6
        kept = [_thin(part, tolerance) for part in kept]
    return "".join("M" + "L".join(f"{px:.1f} {py:.1f}" for px, py in part) for part in _fewest(kept))


def _fewest(parts: list[Floats]) -> list[Floats]:
    """At most as many parts as there may be points; a curve of nothing but gaps is thinned evenly."""
    return parts if len(parts) <= MOST_POINTS // 2 else parts[:: -(-2 * len(parts) // MOST_POINTS)]


def _parts(x: Floats, y: Floats) -> Iterator[Floats]:
    """Stretches without a gap. A lone reading is drawn as a dot: a line from itself to itself."""
    seen = np.isfinite(y)
    edges = np.flatnonzero(np.diff(np.r_[False, seen, False].astype(np.int8)))
    for first, end in zip(edges[::2], edges[1::2], strict=True):
        part = np.column_stack((x[first:end], y[first:end]))
        yield part if len(part) > 1 else np.vstack((part, part))


def _even(points: Floats, group: int) -> Floats:
    """Means over groups of readings, narrower than the eye sees here; the first and the last reading stay."""
    inner = points[1 : 1 + (len(points) - 2) // group * group]
    means = inner.reshape(-1, group, 2).mean(axis=1)
    return np.vstack((points[:1], means, points[-1:]))


def _thin(points: Floats, tolerance: float) -> Floats:
    """Fewest points whose line stays within ``tolerance`` of the given one (Ramer 1972, Douglas–Peucker 1973)."""
    keep = np.zeros(len(points), dtype=bool)
    keep[[0, -1]] = True
    spans = [(0, len(points) - 1)]
    while spans:
        first, last = spans.pop()
        if last - first < 2:
            continue
        (x0, y0), (x1, y1) = points[first], points[last]
        inner = points[first + 1 : last]
        line = y0 + (inner[:, 0] - x0) * ((y1 - y0) / (x1 - x0))
        off = np.abs(inner[:, 1] - line)
        worst = int(off.argmax())
        if off[worst] > tolerance:
            middle = first + 1 + worst
            keep[middle] = True
            spans += [(first, middle), (middle, last)]
    return points[keep]
