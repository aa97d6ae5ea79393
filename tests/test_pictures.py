"""Pictures from outside: what is no picture, broken or too large is refused in a sentence, and nothing else happens."""

import io
import struct
import zlib
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from roastlog.errors import PictureRefused
from roastlog.pictures import opened


def encoded(kind: str, size: tuple[int, int] = (64, 48)) -> bytes:
    """A small picture of a kind."""
    out = io.BytesIO()
    Image.linear_gradient("L").resize(size).convert("RGB").save(out, kind)
    return out.getvalue()


def bomb(side: int) -> bytes:
    """A PNG of a few bytes that says it has side² pixels (W3C PNG, 11.2.1: IHDR)."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_the_three_kinds_are_opened(kind: str):
    """By their content, whatever they are called."""
    assert opened(encoded(kind)).size == (64, 48)


@pytest.mark.parametrize("data", [b"", b"no picture", b"<svg xmlns='http://www.w3.org/2000/svg'/>", encoded("GIF")])
def test_other_kinds_are_refused(data: bytes):
    """Text, SVG, GIF and nothing at all are no picture here."""
    with pytest.raises(PictureRefused, match="JPEG, PNG and WebP"):
        opened(data)


@pytest.mark.parametrize("side", [9_000, 12_000, 60_000])
def test_a_bomb_is_refused_by_its_head(side: int):
    """More pixels than a camera makes are never decoded, however few the bytes."""
    with pytest.raises(PictureRefused, match="more than 64 million pixels"):
        opened(bomb(side))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_one_cut_short_is_refused(kind: str):
    """Half a picture is none."""
    data = encoded(kind, (400, 300))
    with pytest.raises(PictureRefused):
        opened(data[: len(data) // 2])


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(["JPEG", "PNG", "WEBP"]), st.data())
def test_whatever_is_changed_in_it_it_opens_or_is_refused(kind: str, data: st.DataObject):
    """Bytes changed anywhere: a picture or a sentence, never another error."""
    raw = bytearray(encoded(kind))
    for place in data.draw(st.lists(st.integers(0, len(raw) - 1), max_size=12)):
        raw[place] = data.draw(st.integers(0, 255))
    with suppress(PictureRefused):
        opened(bytes(raw))
