"""QR symbols (ISO/IEC 18004) as data, as SVG for pages and as text for the terminal."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from html import escape
from typing import Any

from qrcode.constants import ERROR_CORRECT_H, ERROR_CORRECT_M, ERROR_CORRECT_Q
from qrcode.exceptions import DataOverflowError
from qrcode.main import QRCode

from roastlog.errors import LabelError

QUIET = 4  # modules of white on each side, as ISO/IEC 18004 asks
_LEVELS = {"M": ERROR_CORRECT_M, "Q": ERROR_CORRECT_Q, "H": ERROR_CORRECT_H}  # weakest first; L is too weak for a bag

Run = tuple[int, int, int]  # row, first column, length


@dataclass(frozen=True)
class QrSymbol:
    """A QR symbol without its quiet zone: ``modules[row][column]`` is True where dark."""

    text: str
    modules: tuple[tuple[bool, ...], ...]
    version: int
    level: str

    @property
    def side(self) -> int:
        """Modules per side, without the quiet zone."""
        return len(self.modules)

    def runs(self) -> Iterator[Run]:
        """Runs of dark modules in each row, to draw few long rectangles."""
        for row, cells in enumerate(self.modules):
            start = None
            for column, dark in enumerate((*cells, False)):
                if dark and start is None:
                    start = column
                elif not dark and start is not None:
                    yield row, start, column - start
                    start = None

    def path(self) -> str:
        """SVG path of the dark modules, one unit per module, from the symbol's corner."""
        return "".join(f"M{column} {row}h{length}v1h-{length}z" for row, column, length in self.runs())


@lru_cache(maxsize=64)
def qr_symbol(text: str, *, level: str = "M") -> QrSymbol:
    """Smallest symbol for the text at the level, with stronger correction if the size stays the same.

    Parameters
    ----------
    text : str
        Content of the symbol.
    level : {"M", "Q", "H"}, default "M"
        Minimum error correction level.

    Raises
    ------
    LabelError
        If the text is empty, too long for any symbol, or the level is unknown.
    """
    if not text:
        raise LabelError("A QR code needs an address to carry.")
    if level not in _LEVELS:
        raise LabelError(f"Error correction is M, Q or H, not {level}.")
    best = _fitted(text, level)
    for stronger in list(_LEVELS)[list(_LEVELS).index(level) + 1 :]:
        try:
            other = _fitted(text, stronger)
        except LabelError:  # too long at this level, so at all stronger ones
            break
        if other.version > best.version:
            break
        best, level = other, stronger
    best.make()
    modules = tuple(tuple(bool(dark) for dark in row) for row in best.modules)
    return QrSymbol(text=text, modules=modules, version=int(best.version), level=level)


def _fitted(text: str, level: str) -> QRCode[Any]:
    """A code of the smallest version that holds the text at the level; its modules are still to be made."""
    code = QRCode(error_correction=_LEVELS[level], border=0)
    try:
        code.add_data(text)
        code.best_fit()
    except (DataOverflowError, ValueError) as error:  # qrcode 8.2 raises ValueError for some overlong texts
        raise LabelError(f"{len(text)} characters are too many for a QR code. Use a shorter address.") from error
    return code


def svg(symbol: QrSymbol, *, size_mm: float | None = None, title: str | None = None) -> str:
    """Inline SVG of a symbol with its quiet zone; black on white in every theme, as scanners need.

    ``size_mm`` includes the quiet zone; without it the page's CSS sets the size.
    """
    side = symbol.side + 2 * QUIET
    size = "" if size_mm is None else f' width="{size_mm:g}mm" height="{size_mm:g}mm"'
    words = escape(title if title is not None else f"QR code for {symbol.text}")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="qr"{size} viewBox="0 0 {side} {side}" role="img" '
        f'shape-rendering="crispEdges"><title>{words}</title><path fill="#fff" d="M0 0h{side}v{side}h-{side}z"/>'
        f'<path transform="translate({QUIET} {QUIET})" d="{symbol.path()}"/></svg>'
    )


def terminal(text: str, *, colour: bool = True) -> str:
    """Symbol as half-block text for a terminal, two rows of modules to a line, quiet zone included.

    With colour each line sets black on white (in the fixed part of the 256-colour palette, which themes do not
    change), so it scans on dark and light terminals. Without, the light modules are drawn: correct on a dark terminal,
    inverted on a light one, where most phones still read it.
    """
    symbol = qr_symbol(text)
    blank = (False,) * (symbol.side + 2 * QUIET)
    padded = [(False,) * QUIET + row + (False,) * QUIET for row in symbol.modules]
    rows = [blank] * QUIET + padded + [blank] * QUIET
    if len(rows) % 2:
        rows.append(blank)
    ink = {(True, True): "█", (True, False): "▀", (False, True): "▄", (False, False): " "}
    lines = []
    for upper, lower in zip(rows[::2], rows[1::2], strict=True):
        cells = zip(upper, lower, strict=True)
        if colour:
            lines.append("\x1b[38;5;16;48;5;231m" + "".join(ink[cell] for cell in cells) + "\x1b[0m")
        else:
            lines.append("".join(ink[not top, not bottom] for top, bottom in cells))
    return "\n".join(lines)
