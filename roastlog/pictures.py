"""Safe decoding of uploaded pictures, within limits."""

from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from io import BytesIO
from math import ceil
from typing import TYPE_CHECKING, Final, TypeVar

from roastlog.errors import PictureRefused
from roastlog.languages import _

if TYPE_CHECKING:
    from collections.abc import Callable

    from PIL.Image import Image

Read = TypeVar("Read")
KINDS: Final = ("JPEG", "PNG", "WEBP")
HEIC_BRANDS: Final = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"})
LONG_SIDE_PX: Final = 1600
THUMBNAIL_PX: Final = 480  # for a list row, also at a pixel ratio of 3
MAX_SIDE_PX: Final = 16_384  # a phone's panorama is no longer
MAX_PIXELS: Final = 64_000_000  # more than a phone's camera makes
MAX_PIXELS_PROGRESSIVE: Final = 24_000_000  # of a JPEG whose coefficients are all in memory first: 6 bytes a pixel
MAX_PIXELS_WHOLE: Final = 10_000_000  # decoded at full scale; a WebP takes 16 bytes a pixel then, the most of all
_one_by_one = ThreadPoolExecutor(1, "pictures")  # not a lock: the allocator keeps what each thread once took


def read_picture(data: bytes, read: "Callable[[Image], Read]", *, side_px: int | None = None) -> Read:
    """Decode a picture and read it; the format comes from its content, and its size is checked before decoding.

    Each takes up to 200 MB and must not disturb a roast, so all are decoded and read one after the other.

    Parameters
    ----------
    read
        Called with the picture, which is closed afterwards.
    side_px
        Lets a JPEG be decoded at a smaller scale, and so have more pixels.

    Raises
    ------
    PictureRefused
        If it is no JPEG, PNG or WebP, is truncated or damaged, or has too many pixels.
    """

    def decode() -> Read:
        picture = _checked(data, side_px)
        try:
            picture.load()
        except Exception as error:  # decoders raise many types, all with the same meaning
            raise PictureRefused(_("This picture is damaged. Take it again.")) from error
        try:
            return read(picture)
        finally:
            picture.close()

    return _one_by_one.submit(copy_context().run, decode).result()


def _checked(data: bytes, side_px: int | None) -> "Image":
    """The picture before decoding; raises PictureRefused by the size that it claims."""
    from PIL import Image  # noqa: PLC0415 - serving must start fast

    try:
        picture = Image.open(BytesIO(data), formats=KINDS)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise PictureRefused(_too_large(MAX_PIXELS)) from error
    except Exception as error:  # as in `read_picture`
        if _is_heic(data):
            raise PictureRefused(_heic_message()) from error
        raise PictureRefused(_("Picture must be JPEG, PNG or WebP.")) from error
    long_px = max(picture.size)
    if long_px > MAX_SIDE_PX:
        raise PictureRefused(
            _("Picture must be at most {most} pixels wide and high. Send a smaller one.", most=MAX_SIDE_PX)
        )
    if side_px is None or picture.format != "JPEG":
        max_pixels = MAX_PIXELS_WHOLE
    else:
        max_pixels = MAX_PIXELS_PROGRESSIVE if "progressive" in picture.info else MAX_PIXELS
    if picture.width * picture.height > max_pixels:
        raise PictureRefused(_too_large(max_pixels))
    if side_px is not None:  # by the long side, so that a panorama becomes small too
        width, height = (max(1, ceil(side * side_px / long_px)) for side in picture.size)
        picture.draft("RGB", (width, height))
    return picture


def _too_large(max_pixels: int) -> str:
    return _("Picture must have at most {n} million pixels. Send a smaller one.", n=max_pixels // 1_000_000)


def _is_heic(data: bytes) -> bool:
    """Whether it is HEIC, as many phones save it: a box `ftyp` with one of its brands (ISO/IEC 23008-12, annex B)."""
    return data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS


def _heic_message() -> str:
    return _(
        "Picture must be JPEG, PNG or WebP, not HEIC. All else is saved. Set the phone's camera to JPEG, or "
        "send a screenshot of the picture."
    )


def sanitized(data: bytes) -> bytes:
    """The picture to store: upright, at most 1600 px a side, a JPEG without metadata.

    Position, time, camera, comments and colour profile are removed.

    Raises
    ------
    PictureRefused
        As for `read_picture`.
    """
    return read_picture(data, _upright, side_px=LONG_SIDE_PX)


def _upright(picture: "Image") -> bytes:
    from PIL import Image, ImageOps  # noqa: PLC0415 - serving must start fast

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

    def small(picture: "Image") -> bytes:
        picture.thumbnail((side_px, side_px))
        out = BytesIO()
        picture.save(out, "JPEG", quality=80)
        return out.getvalue()

    return read_picture(data, small, side_px=side_px)


def picture_size(data: bytes) -> tuple[int, int]:
    """Width and height of a stored picture, from its header. [px]"""
    from PIL import Image  # noqa: PLC0415 - serving must start fast

    return Image.open(BytesIO(data), formats=KINDS).size
