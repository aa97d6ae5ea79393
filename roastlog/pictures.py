"""Pictures from outside: opened within limits. What a camera sends is foreign bytes until it is decoded here."""

import threading
from io import BytesIO
from typing import TYPE_CHECKING, Final

from roastlog.errors import PictureRefused
from roastlog.languages import _

if TYPE_CHECKING:
    from PIL.Image import Image

KINDS: Final = ("JPEG", "PNG", "WEBP")
HEIC_BRANDS: Final = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"})
LONG_SIDE_PX: Final = 1600
MOST_PIXELS: Final = 64_000_000  # more than a phone's camera makes
SMALL_PX: Final = 480  # beside a line of text, also on a screen with three dots a pixel
MOST_WHOLE: Final = 16_000_000  # of kinds that are decoded whole or not at all; a JPEG is decoded smaller
_one = threading.Lock()  # a picture takes up to some hundred MB while it is decoded, and a roast goes on beside it


def opened(data: bytes, *, most_pixels: int = MOST_PIXELS, side_px: int | None = None) -> "Image":
    """A picture decoded: its kind told by its content, its pixels counted before any of them is decoded.

    Where ``side_px`` says how large it is wanted, a JPEG is decoded no larger than it takes.

    Raises
    ------
    PictureRefused
        If it is no JPEG, PNG or WebP, is cut short or broken, or has too many pixels.
    """
    from PIL import Image  # noqa: PLC0415 - serving must start fast

    try:
        picture = Image.open(BytesIO(data), formats=KINDS)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise PictureRefused(_too_large(most_pixels)) from error
    except Exception as error:  # decoders raise whatever they meet, and all of it means the same
        if _is_heic(data):
            raise PictureRefused(_heic()) from error
        raise PictureRefused(_("That is no picture that can be read here: JPEG, PNG and WebP can.")) from error
    most_pixels = most_pixels if picture.format == "JPEG" else min(most_pixels, MOST_WHOLE)
    if picture.width * picture.height > most_pixels:
        raise PictureRefused(_too_large(most_pixels))
    if side_px is not None:
        picture.draft("RGB", (side_px, side_px))
    try:
        picture.load()
    except Exception as error:
        raise PictureRefused(_("That picture is broken or cut short. Take it once more.")) from error
    return picture


def _too_large(most_pixels: int) -> str:
    return _("That picture has more than {n} million pixels. Send a smaller one.", n=most_pixels // 1_000_000)


def _is_heic(data: bytes) -> bool:
    """Whether it is what many phones save: a box `ftyp` with one of its brands (ISO/IEC 23008-12, annex B)."""
    return data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS


def _heic() -> str:
    return _(
        "That picture is HEIC, which cannot be read here; JPEG, PNG and WebP can. All else is kept. "
        "Set the phone's camera to save JPEG, or send a screenshot of the picture."
    )


def tidied(data: bytes) -> bytes:
    """The picture as it is kept: upright, at most 1600 px a side, a JPEG that holds its pixels and nothing else.

    Whatever came with it stays behind: position, time, camera, comments, colour profile.

    Raises
    ------
    PictureRefused
        As `opened` does.
    """
    from PIL import Image, ImageOps  # noqa: PLC0415 - serving must start fast

    with _one:
        picture = opened(data, side_px=LONG_SIDE_PX)
        picture.thumbnail((LONG_SIDE_PX, LONG_SIDE_PX))
    try:
        upright = ImageOps.exif_transpose(picture)
    except Exception:  # noqa: BLE001 - a note of the direction that cannot be read is none
        upright = picture
    bare = Image.new("RGB", upright.size, "white")  # of itself it has no notes, which saving would take along
    shown = upright.convert("RGBA")
    bare.paste(shown, mask=shown.getchannel("A"))
    out = BytesIO()
    bare.save(out, "JPEG", quality=85)
    return out.getvalue()


def smaller(data: bytes, side_px: int = SMALL_PX) -> bytes:
    """A picture that is kept here, at most so many px a side: for a list, and for those who pay for each byte."""
    with _one:
        picture = opened(data, side_px=side_px)
    picture.thumbnail((side_px, side_px))
    out = BytesIO()
    picture.save(out, "JPEG", quality=80)
    return out.getvalue()


def size_of(data: bytes) -> tuple[int, int]:
    """Width and height of a picture that is kept here, read off its head. [px]"""
    from PIL import Image  # noqa: PLC0415 - serving must start fast

    return Image.open(BytesIO(data), formats=KINDS).size
