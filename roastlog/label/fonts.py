"""The typeface of labels, from an installed package: its character set and character widths.

Source Sans Pro (SIL Open Font License) covers Latin with Vietnamese, Greek and Cyrillic. Missing characters become a
box in the PDF and are reported to the caller; the print page uses the browser's fonts and shows them all.
"""

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path

ASCENT_EM = 0.92  # capitals with an accent reach this high
DESCENT_EM = 0.26
LINE_EM = ASCENT_EM + DESCENT_EM
BOX = "☐"  # replaces missing characters; at most one em wide
ELLIPSIS = "…"


@dataclass(frozen=True)
class Face:
    """One weight of the typeface: its file, and in em the advance of each character and the height of x and figures."""

    file: Path
    advance_em: Mapping[int, float]
    x_height_em: float
    figure_height_em: float
    """Of the lowest figure, which ends flat."""

    def width_em(self, text: str) -> float:
        """Width of a line of text, in em. Missing characters count one em, so that any font fits."""
        return sum(self.advance_em.get(ord(character), 1.0) for character in text)

    def has(self, character: str) -> bool:
        """Whether the typeface has a character."""
        return ord(character) in self.advance_em

    def displayable(self, text: str) -> str:
        """Text reduced to this face: accents are dropped if only the letter exists, other characters are boxes."""
        return "".join(character if self.has(character) else self._nearest(character) for character in text)

    def _nearest(self, character: str) -> str:
        plain = "".join(c for c in unicodedata.normalize("NFKD", character) if not unicodedata.combining(c))
        fits = plain and all(self.has(c) for c in plain) and self.width_em(plain) <= 1.0
        return plain if fits else BOX


@cache
def face(*, bold: bool) -> Face:
    """Regular or bold face. The first call reads a font file, which takes some hundredths of a second."""
    # Only labels need it, and serving must start fast.
    from fontTools.pens.boundsPen import BoundsPen  # noqa: PLC0415
    from fontTools.ttLib import TTFont  # noqa: PLC0415

    name = f"SourceSansPro-{'Bold' if bold else 'Regular'}.ttf"
    file = Path(str(files("font_source_sans_pro") / "files" / name))
    with TTFont(file, lazy=True) as font:
        units, advances = font["head"].unitsPerEm, font["hmtx"].metrics
        glyphs, named = font.getGlyphSet(), font.getBestCmap()
        widths = {code: advances[glyph][0] / units for code, glyph in named.items()}

        def height_em(character: str) -> float:
            glyphs[named[ord(character)]].draw(pen := BoundsPen(glyphs))
            return float(pen.bounds[3] / units)

        return Face(file, widths, height_em("x"), min(map(height_em, "0123456789")))


def normalize(text: str) -> str:
    """One line of printable text: composed accents, single spaces, no control characters."""
    composed = unicodedata.normalize("NFC", text)
    spaced = "".join(
        " " if unicodedata.category(character) in {"Cc", "Zl", "Zp"} else character for character in composed
    )
    return " ".join("".join(c for c in spaced if unicodedata.category(c) not in {"Cf", "Cs", "Co", "Cn"}).split())


def wrap(text: str, width_em: float, max_lines: int, *, bold: bool) -> tuple[list[str], bool]:
    """Break text into lines that fit; the last one ends in an ellipsis if text remains.

    Returns
    -------
    lines : list of str
        At most ``max_lines`` of them.
    whole : bool
        False if text was cut or a word was broken.
    """
    look = face(bold=bold)
    lines: list[str] = []
    rest, whole = text, True
    while rest and len(lines) < max_lines:
        line, rest, broken = _first_line(rest, width_em, look)
        whole = whole and not broken
        lines.append(line)
    if rest:
        whole = False
        last = lines[-1]
        while last and look.width_em(last + ELLIPSIS) > width_em:
            last = last[:-1]
        lines[-1] = last.rstrip() + ELLIPSIS
    return lines, whole


def _first_line(text: str, width_em: float, look: Face) -> tuple[str, str, bool]:
    """Split off the first line; True if a word was broken."""
    fits = 1
    while fits < len(text) and look.width_em(text[: fits + 1]) <= width_em:
        fits += 1
    if fits == len(text):
        return text, "", False
    space = text.rfind(" ", 0, fits + 1)
    if space > 0:
        return text[:space], text[space + 1 :], False
    return text[:fits], text[fits:], True
