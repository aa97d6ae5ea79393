"""Safe decoding of uploaded pictures, within limits."""

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
MAX_PIXELS: Final = 64_000_000  # more than a phone's camera makes
THUMBNAIL_PX: Final = 480  # for a list row, also at a pixel ratio of 3
MAX_UNSCALED_PIXELS: Final = 16_000_000  # of formats that cannot be decoded at a smaller scale, as JPEG can
MAX_SIDE_PX: Final = 16_000  # of no camera; a few bytes may claim it
_decode_lock = threading.Lock()  # one at a time: each takes up to some hundred MB, and must not disturb a roast


def open_picture(data: bytes, *, max_pixels: int = MAX_PIXELS, side_px: int | None = None) -> "Image":
    """Decode a picture; the format comes from its content, and its size is checked before decoding.

    ``side_px`` lets a JPEG be decoded at a smaller scale.

    Raises
    ------
    PictureRefused
        If it is no JPEG, PNG or WebP, is truncated or damaged, or has too many pixels.
    """
    from PIL import Image  # noqa: PLC0415 - serving must start fast

    try:
        picture = Image.open(BytesIO(data), formats=KINDS)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise PictureRefused(_too_large(max_pixels)) from error
    except Exception as error:  # decoders raise many types, all with the same meaning
        if _is_heic(data):
            raise PictureRefused(_heic_message()) from error
        raise PictureRefused(_("That is no picture that can be read here: JPEG, PNG and WebP can.")) from error
    max_pixels = max_pixels if picture.format == "JPEG" else min(max_pixels, MAX_UNSCALED_PIXELS)
    if picture.width * picture.height > max_pixels or max(picture.size) > MAX_SIDE_PX:
        raise PictureRefused(_too_large(max_pixels))
    if side_px is not None:
        picture.draft("RGB", (side_px, side_px))
    try:
        picture.load()
    except Exception as error:
        raise PictureRefused(_("That picture is broken or cut short. Take it once more.")) from error
    return picture


def _too_large(max_pixels: int) -> str:
    return _("That picture has more than {n} million pixels. Send a smaller one.", n=max_pixels // 1_000_000)


def _is_heic(data: bytes) -> bool:
    """Whether it is HEIC, as many phones save it: a box `ftyp` with one of its brands (ISO/IEC 23008-12, annex B)."""
    return data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS


def _heic_message() -> str:
    return _(
        "That picture is HEIC, which cannot be read here; JPEG, PNG and WebP can. All else is kept. "
        "Set the phone's camera to save JPEG, or send a screenshot of the picture."
    )


def sanitized(data: bytes) -> bytes:
    """The picture to store: upright, at most 1600 px a side, a JPEG without metadata.

    Position, time, camera, comments and colour profile are removed.

    Raises
    ------
    PictureRefused
        As for `open_picture`.
    """
    from PIL import Image, ImageOps  # noqa: PLC0415 - serving must start fast

    with _decode_lock:
        picture = open_picture(data, side_px=LONG_SIDE_PX)
        picture.thumbnail((LONG_SIDE_PX, LONG_SIDE_PX))
        try:
            oriented = ImageOps.exif_transpose(picture)
        except Exception:  # noqa: BLE001 - an unreadable orientation counts as none
            oriented = picture
        clean = Image.new("RGB", oriented.size, "white")  # a new image has no metadata to save
        shown = oriented.convert("RGBA")
        clean.paste(shown, mask=shown.getchannel("A"))
        out = BytesIO()
        clean.save(out, "JPEG", quality=85)
        return out.getvalue()


def thumbnail(data: bytes, side_px: int = THUMBNAIL_PX) -> bytes:
    """Thumbnail of a stored picture, at most ``side_px`` a side: for lists and slow connections."""
    with _decode_lock:
        picture = open_picture(data, side_px=side_px)
        picture.thumbnail((side_px, side_px))
        out = BytesIO()
        picture.save(out, "JPEG", quality=80)
        return out.getvalue()


def picture_size(data: bytes) -> tuple[int, int]:
    """Width and height of a stored picture, from its header. [px]"""
    from PIL import Image  # noqa: PLC0415 - serving must start fast

    return Image.open(BytesIO(data), formats=KINDS).size
