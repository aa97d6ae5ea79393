"""Pictures from outside: opened within limits. What a camera sends is foreign bytes until it is decoded here."""

from io import BytesIO
from typing import TYPE_CHECKING, Final

from roastlog.errors import PictureRefused
from roastlog.languages import _

if TYPE_CHECKING:
    from PIL.Image import Image

KINDS: Final = ("JPEG", "PNG", "WEBP")
MOST_PIXELS: Final = 64_000_000  # more than a phone's camera makes


def opened(data: bytes, *, most_pixels: int = MOST_PIXELS) -> "Image":
    """A picture decoded: its kind told by its content, its pixels counted before any of them is decoded.

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
        raise PictureRefused(_("That is no picture that can be read here: JPEG, PNG and WebP can.")) from error
    if picture.width * picture.height > most_pixels:
        raise PictureRefused(_too_large(most_pixels))
    try:
        picture.load()
    except Exception as error:
        raise PictureRefused(_("That picture is broken or cut short. Take it once more.")) from error
    return picture


def _too_large(most_pixels: int) -> str:
    return _("That picture has more than {n} million pixels. Send a smaller one.", n=most_pixels // 1_000_000)
