"""Uploaded pictures: an invalid, broken or too large one is refused with a message, without side effects."""

import io
import struct
import subprocess
import sys
import zlib
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageFile

from roastlog.errors import PictureRefused
from roastlog.pictures import read_picture, sanitized


def encoded(kind: str, size: tuple[int, int] = (64, 48)) -> bytes:
    """A small picture of a kind."""
    out = io.BytesIO()
    Image.linear_gradient("L").resize(size).convert("RGB").save(out, kind)
    return out.getvalue()


def size_of(data: bytes) -> tuple[int, int]:
    """Width and height of a picture once it is decoded."""
    return read_picture(data, lambda picture: picture.size)


def bomb(width: int, height: int) -> bytes:
    """A PNG of a few bytes whose header declares many pixels (W3C PNG, 11.2.1: IHDR)."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    )


def jpeg_bomb(width: int, height: int, *, progressive: bool = False) -> bytes:
    """A JPEG of a few hundred bytes whose header declares many pixels (ITU-T T.81, B.2.2: the frame header)."""
    out = io.BytesIO()
    Image.new("RGB", (16, 16)).save(out, "JPEG", progressive=progressive)
    data = bytearray(out.getvalue())
    place = data.index(b"\xff\xc2" if progressive else b"\xff\xc0") + 5
    data[place : place + 4] = struct.pack(">HH", height, width)
    return bytes(data)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_the_three_kinds_are_opened(kind: str):
    """They are recognised by content, whatever their name."""
    assert size_of(encoded(kind)) == (64, 48)


@pytest.mark.parametrize("data", [b"", b"no picture", b"<svg xmlns='http://www.w3.org/2000/svg'/>", encoded("GIF")])
def test_other_kinds_are_refused(data: bytes):
    """Text, SVG, GIF and empty data are refused."""
    with pytest.raises(PictureRefused, match="JPEG, PNG or WebP"):
        size_of(data)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (bomb(3_600, 3_600), "10 million"),
        (bomb(60_000, 60_000), "64 million"),
        (bomb(65_000, 980), "16384 pixels wide"),
        (bomb(16_000, 980), "10 million"),
        (jpeg_bomb(65_000, 980), "16384 pixels wide"),
        (jpeg_bomb(980, 65_000), "16384 pixels wide"),
        (jpeg_bomb(9_000, 8_000), "64 million"),
        (jpeg_bomb(8_000, 6_000, progressive=True), "24 million"),
    ],
)
def test_a_bomb_is_refused_by_its_claim(data: bytes, words: str, monkeypatch: pytest.MonkeyPatch):
    """A picture that claims more than a camera makes is never decoded, however few its bytes."""
    monkeypatch.setattr(ImageFile.ImageFile, "load", lambda _picture: pytest.fail("decoded"))
    with pytest.raises(PictureRefused, match=words):
        sanitized(data)


MEASURE = """
import sys, threading
from pathlib import Path
from roastlog.label.reading import qr_texts
from roastlog.pictures import sanitized

def most_mb():
    return int(Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0]) / 1024

small, large = (Path(name).read_bytes() for name in sys.argv[1:])
sanitized(small), qr_texts(small)
before_mb = most_mb()
threads = [threading.Thread(target=read, args=[large]) for read in [sanitized, qr_texts] * 10]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
print(most_mb() - before_mb)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="reads the most memory from /proc")
def test_twenty_pictures_at_once_take_the_memory_of_one(tmp_path: Path):
    """Ten photos and ten scans of the largest picture of the hungriest kind, all at once, take less than 200 MB."""
    small, large = tmp_path / "small", tmp_path / "large"
    small.write_bytes(encoded("WEBP"))
    large.write_bytes(encoded("WEBP", (3650, 2737)))
    asked = [sys.executable, "-c", MEASURE, str(small), str(large)]
    answer = subprocess.run(asked, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[1])
    assert 20 < float(answer.stdout) < 200


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_one_cut_short_is_refused(kind: str):
    """A truncated picture is refused."""
    data = encoded(kind, (400, 300))
    with pytest.raises(PictureRefused):
        size_of(data[: len(data) // 2])


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(["JPEG", "PNG", "WEBP"]), st.data())
def test_a_changed_picture_opens_or_is_refused(kind: str, data: st.DataObject):
    """A picture with changed bytes opens or is refused with a message, and causes no other error."""
    raw = bytearray(encoded(kind))
    for place in data.draw(st.lists(st.integers(0, len(raw) - 1), max_size=12)):
        raw[place] = data.draw(st.integers(0, 255))
    with suppress(PictureRefused):
        sanitized(bytes(raw))


def photo_with_notes() -> bytes:
    """A phone's photo on its side: EXIF with a position and a maker, XMP, a comment, a colour profile."""
    exif = Image.Exif()
    exif[0x0112] = 6  # Orientation: turn by 90° clockwise to be seen upright (Exif 2.32, 4.6.4)
    exif[0x010F] = "SECRETMAKER"
    exif.get_ifd(0x8825).update({1: "N", 2: (47.0, 22.0, 41.5), 3: "E", 4: (8.0, 32.0, 30.25), 29: "2026:11:26"})
    out = io.BytesIO()
    picture = Image.new("RGB", (2400, 1200), "#96653a")
    picture.paste("#ffffff", (0, 0, 300, 300))  # a corner that shows the orientation
    picture.save(
        out, "JPEG", exif=exif, comment=b"SECRETCOMMENT", xmp=b"<x:xmpmeta>SECRETXMP</x:xmpmeta>",
        icc_profile=b"SECRETPROFILE" * 20,
    )  # fmt: skip
    return out.getvalue()


def test_nothing_but_pixels_is_kept():
    """Position, maker, XMP, comment and profile are gone, by parsing and by searching the bytes; and it is upright."""
    raw = photo_with_notes()
    before = Image.open(io.BytesIO(raw))
    assert before.getexif().get_ifd(0x8825)
    assert raw.count(b"SECRET") >= 4
    data = sanitized(raw)
    after = Image.open(io.BytesIO(data))
    assert (after.format, after.size) == ("JPEG", (800, 1600))
    assert dict(after.getexif()) == {}
    assert set(after.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert not [word for word in (b"SECRET", b"Exif", b"xmp", b"ICC_PROFILE", b"2026:11:26") if word in data]
    segments = {data[place + 1] for place in range(len(data) - 1) if data[place] == 0xFF}
    assert not segments & {*range(0xE1, 0xF0), 0xFE}  # APP1 to APP15 and COM (ITU-T T.81, table B.1)
    assert min(after.getpixel((780, 10))) > 200  # the top left has become the top right
    assert max(after.getpixel((10, 10))[2], after.getpixel((10, 1590))[2]) < 120


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "I;16"])
def test_pictures_of_every_depth_become_a_jpeg(mode: str):
    """Grey, palette, transparent and 16-bit pictures can all be stored."""
    out = io.BytesIO()
    Image.new(mode, (40, 30)).save(out, "PNG")
    assert size_of(sanitized(out.getvalue())) == (40, 30)
