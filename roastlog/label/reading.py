"""Decoding of QR symbols in a camera frame or a photo."""

from roastlog.pictures import read_picture


def qr_texts(picture: bytes) -> list[str]:
    """Texts of the QR symbols in a picture, in any orientation; raises PictureRefused if it is no picture."""
    import zxingcpp  # noqa: PLC0415 - serving must start fast

    formats = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
    found = read_picture(picture, lambda seen: zxingcpp.read_barcodes(seen.convert("L"), formats=formats))
    return [code.text for code in found if code.valid]
