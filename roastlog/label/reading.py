"""QR symbols read in a picture: the frame of a camera, or a photo."""

from roastlog.pictures import opened

MOST_PIXELS = 16_000_000  # pages send at most 1600 px a side


def qr_texts(picture: bytes) -> list[str]:
    """What the QR symbols in a picture say, in any direction; raises PictureRefused for what is no picture."""
    import zxingcpp  # noqa: PLC0415 - serving must start fast

    grey = opened(picture, most_pixels=MOST_PIXELS).convert("L")
    found = zxingcpp.read_barcodes(grey, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode))
    return [code.text for code in found if code.valid]
