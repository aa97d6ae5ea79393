"""Decoding of QR symbols in a camera frame or a photo."""

from roastlog.pictures import open_picture

MAX_PIXELS = 16_000_000  # pages send at most 1600 px a side


def qr_texts(picture: bytes) -> list[str]:
    """Texts of the QR symbols in a picture, in any orientation; raises PictureRefused if it is no picture."""
    import zxingcpp  # noqa: PLC0415 - serving must start fast

    grey = open_picture(picture, max_pixels=MAX_PIXELS).convert("L")
    found = zxingcpp.read_barcodes(grey, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode))
    return [code.text for code in found if code.valid]
