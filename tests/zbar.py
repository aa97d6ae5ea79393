"""Codes read back by zbar, which shares no code with the encoder."""

import numpy as np
import pytest
from PIL import Image


def read(picture: np.ndarray) -> list[str]:
    """Text that zbar reads in a picture of grey values; skips the test if zbar's library is not installed."""
    zbar = pytest.importorskip("pyzbar.pyzbar", reason="zbar's library is not installed", exc_type=ImportError)
    found = zbar.decode(Image.fromarray(picture), symbols=[zbar.ZBarSymbol.QRCODE])
    return [code.data.decode() for code in found]
