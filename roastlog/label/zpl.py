"""Jobs for label printers in ZPL, the language that most network label printers speak or emulate.

A job holds no text in the printer's fonts, only one picture a label by the command ``^GF``: every printer then prints
what the page shows, in any script. The commands, all of ZPL II [memory]: ``^XA`` … ``^XZ`` a label, ``^PW`` and ``^LL``
its width and length in dots, ``^LH`` and ``^FO`` its corner, ``^GFA`` a picture in hexadecimal digits, ``^PQ`` copies.
An independent renderer (zplkit 0.3.2, which lacks ``^PQ``) drew such a job dot for dot [verified once, 203 dpi].
"""

from itertools import groupby
from typing import Final

from roastlog.errors import LabelError
from roastlog.label.bitmap import Bitmap, drawing_bitmap, label_bitmap
from roastlog.label.layout import Label
from roastlog.label.ruler import ruler
from roastlog.label.sheets import labels
from roastlog.label.stock import LabelSize
from roastlog.languages import _

RESOLUTIONS: Final = (203, 300, 600)  # dots per inch that label printers have


def label_job(label: Label, size: LabelSize, *, dpi: int = 203, copies: int = 1, numbered: bool = False) -> bytes:
    """Labels of a roll as one print job. Equal labels are sent once, with their number.

    Parameters
    ----------
    label : Label
        Content.
    size : LabelSize
        A roll.
    dpi : int, default 203
        Dots per inch of the printer, one of ``RESOLUTIONS``.
    copies : int, default 1
        Number of labels, 1 to 72.
    numbered : bool, default False
        Whether each label has its number, such as “3 of 16”; one alone has none.

    Raises
    ------
    LabelError
        If the label cannot be made, or the size is a sheet; the message says how to fix it.
    """
    _check(size, dpi)
    alike = groupby(labels(label, size, dpi, copies, numbered=numbered), key=id)
    groups = [list(group) for _same, group in alike]
    return b"".join(_zpl(label_bitmap(group[0]), len(group)) for group in groups)


def ruler_job(size: LabelSize, *, dpi: int = 203) -> bytes:
    """The test print of a roll as a print job; errors as of `label_job`."""
    _check(size, dpi)
    return _zpl(drawing_bitmap(ruler(size), size, dpi), 1)


def _check(size: LabelSize, dpi: int) -> None:
    if size.page_mm != (size.width_mm, size.height_mm):
        raise LabelError(_("A label printer prints rolls. Choose the size of its roll, or print the sheet as PDF."))
    if dpi not in RESOLUTIONS:
        raise LabelError(
            _(
                "A label printer has {choices} dots per inch, not {dpi}.",
                choices=", ".join(map(str, RESOLUTIONS)),
                dpi=dpi,
            )
        )


def _zpl(bitmap: Bitmap, copies: int) -> bytes:
    size = len(bitmap.data)
    return (
        f"^XA^PW{bitmap.width_dots}^LL{bitmap.height_dots}^LH0,0^FO0,0"
        f"^GFA,{size},{size},{bitmap.row_bytes},{bitmap.data.hex().upper()}^FS^PQ{copies}^XZ\n"
    ).encode("ascii")
