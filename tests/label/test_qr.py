"""QR symbols, read back by zbar (through pyzbar), which shares no code with the encoder."""

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roastlog.errors import LabelError
from roastlog.label.qr import QUIET, QrSymbol, qr_symbol, svg, terminal
from tests import zbar

URL = "https://192.168.178.24:8443/r/hZ3kQ9vT1xYbN7wL2mPq"
addresses = st.from_regex(r"https://[a-z0-9.-]{1,30}/r/[A-Za-z0-9_-]{1,60}", fullmatch=True)


def read(dark: np.ndarray, *, scale: int = 4) -> list[str]:
    """What zbar reads in a picture of dark cells."""
    picture = np.kron(np.where(dark, 0, 255).astype(np.uint8), np.ones((scale, scale), np.uint8))
    return zbar.read(picture)


def with_quiet_zone(symbol: QrSymbol) -> np.ndarray:
    """Modules with white around them."""
    return np.pad(np.array(symbol.modules), QUIET)


@settings(max_examples=25, deadline=None)
@given(addresses)
def test_zbar_reads_the_address(url: str):
    """Any address comes back unchanged from an independent decoder."""
    assert read(with_quiet_zone(qr_symbol(url))) == [url]


@settings(max_examples=25, deadline=None)
@given(addresses)
def test_smallest_version_and_free_boost(url: str):
    """The size follows the version (17 + 4 · version, ISO/IEC 18004), and stronger correction never enlarges it."""
    symbol = qr_symbol(url)
    assert symbol.side == 17 + 4 * symbol.version
    weaker_or_equal = ["M", "Q", "H"][: ["M", "Q", "H"].index(symbol.level) + 1]
    assert {qr_symbol(url, level=level).version for level in weaker_or_equal} == {symbol.version}
    if symbol.level != "H":
        stronger = {"M": "Q", "Q": "H"}[symbol.level]
        assert qr_symbol(url, level=stronger).version > symbol.version


@pytest.mark.parametrize(("length", "version"), [(46, 4), (57, 4)])
def test_versions_by_another_encoder(length: int, version: int):
    """46 and 57 byte characters take version 4 at level M, as with segno [computed with segno, as given to us]."""
    url = "https://roastery.example/r/"
    assert qr_symbol(url + "a" * (length - len(url))).version == version


def test_it_reads_with_a_tenth_of_it_torn_off():
    """The error correction repairs a white scratch over a strip of the symbol."""
    dark = with_quiet_zone(qr_symbol(URL))
    dark[20:22, 14:34] = False
    assert read(dark) == [URL]


@pytest.mark.parametrize(("text", "level"), [("", "M"), ("a" * 5000, "M"), (URL, "L"), (URL, "X")])
def test_impossible_symbols_are_refused(text: str, level: str):
    """Empty data, too much data, and a weak level are refused with a message."""
    with pytest.raises(LabelError):
        qr_symbol(text, level=level)


def test_the_longest_text_keeps_level_m():
    """A text that fits at M only is encoded at M, although it overflows the stronger levels."""
    assert qr_symbol("a" * 2200).level == "M"


def test_svg_draws_every_module():
    """The SVG's path covers exactly the dark modules, inside four modules of white."""
    symbol = qr_symbol(URL)
    drawn = svg(symbol, size_mm=20)
    side = symbol.side + 2 * QUIET
    assert f'viewBox="0 0 {side} {side}"' in drawn
    assert 'width="20mm" height="20mm"' in drawn
    assert f'transform="translate({QUIET} {QUIET})"' in drawn
    assert 'shape-rendering="crispEdges"' in drawn
    assert 'role="img"' in drawn
    assert "<title>QR code for https://" in drawn
    dark = np.zeros((symbol.side, symbol.side), dtype=bool)
    for column, row, length in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", drawn):
        dark[int(row), int(column) : int(column) + int(length)] = True
    assert (dark == np.array(symbol.modules)).all()


def test_svg_escapes_its_title():
    """HTML in the data or the title stays text."""
    assert "<b>" not in svg(qr_symbol("<b>&"))
    assert "<i>" not in svg(qr_symbol(URL), title="<i>")


def cells(text: str) -> np.ndarray:
    """Half-block text as cells: True for ink."""
    halves = {"█": (True, True), "▀": (True, False), "▄": (False, True), " ": (False, False)}
    rows = [[halves[character] for character in line] for line in text.splitlines()]
    drawn = np.array(rows).transpose(0, 2, 1)
    return drawn.reshape(-1, drawn.shape[2])


def test_terminal_sets_its_own_colours():
    """On any terminal each line sets black on white and resets, and zbar reads it with its quiet zone."""
    shown = terminal(URL)
    for line in shown.splitlines():
        assert line.startswith("\x1b[38;5;16;48;5;231m")
        assert line.endswith("\x1b[0m")
    ink = cells(re.sub(r"\x1b\[[0-9;]*m", "", shown))
    assert read(ink) == [URL]
    assert not ink[:QUIET].any()
    assert not ink[-QUIET:].any()
    assert not ink[:, :QUIET].any()
    assert not ink[:, -QUIET:].any()


def test_terminal_without_colour_is_right_on_dark():
    """Without colours the light modules are drawn, so a dark terminal shows a correct symbol with its quiet zone."""
    ink = cells(terminal(URL, colour=False))
    assert read(~ink) == [URL]
    assert ink[:QUIET].all()
