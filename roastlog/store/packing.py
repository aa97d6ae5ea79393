"""Lossless packing of the readings of a time span into one small blob.

Readings come in decimal steps: a tenth of a degree, at most a ten-thousandth. So each channel is written as integers of
its smallest step, delta-encoded and compressed by zlib. A blob is

    codec number (1 byte) · CRC-32 of all that follows (4 bytes, little-endian) · zlib of

        length of the head (4 bytes) · head, JSON · the times · for each channel: bit mask of its values, its values

Times are in ms. Deltas are zigzag-encoded (0, −1, 1, −2 … → 0, 1, 2, 3 …) in the fewest bytes that the largest needs,
and stored in byte planes, all first bytes before all second ones: the upper bytes are nearly all zero and cost nothing.
A channel with values of more than `MOST_DECIMALS` decimals is written as 64-bit floats.
"""

import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roastlog.errors import StoreError

CODEC: Final = 1
MOST_DECIMALS: Final = 6
_LARGEST: Final = 2.0**50  # integers up to here, and their differences, are exact
_PREFIX: Final = 5


@dataclass(frozen=True, eq=False)
class Columns:
    """Readings by channel.

    Attributes
    ----------
    at_ms : ndarray of int64, shape (n,)
        Times of the readings, increasing. [ms UTC]
    channels : dict of str to ndarray, shape (n,)
        Values; NaN where a channel had none at that time. [°C, or the channel's own unit]
    """

    at_ms: NDArray[np.int64]
    channels: dict[str, NDArray[np.float64]]


def pack(at_ms: ArrayLike, channels: Mapping[str, ArrayLike]) -> bytes:
    """Pack readings.

    Parameters
    ----------
    at_ms : array-like of int, shape (n,)
        Times of the readings, increasing, at any spacing. [ms UTC]
    channels : mapping of str to array-like, shape (n,)
        Values; NaN where a channel had none at that time.

    Returns
    -------
    bytes
        A blob from which `unpack` gives the same columns.
    """
    times = np.asarray(at_ms, dtype=np.int64)
    head: dict[str, Any] = {"n": times.size, "t0": int(times[0]) if times.size else 0, "channels": []}
    head["width"], body = _encode_integers(times - head["t0"])
    parts = [body]
    for name, given in channels.items():
        values = np.asarray(given, dtype=np.float64)
        there = ~np.isnan(values)
        width, decimals, body = _encode_decimals(values[there])
        head["channels"].append([name, int(there.sum()), width, decimals])
        parts += [np.packbits(there).tobytes(), body]
    text = json.dumps(head, ensure_ascii=False, separators=(",", ":")).encode()
    packed = zlib.compress(len(text).to_bytes(4, "little") + text + b"".join(parts), 9)
    return bytes([CODEC]) + zlib.crc32(packed).to_bytes(4, "little") + packed


def unpack(blob: bytes) -> Columns:
    """The readings of a blob.

    Raises
    ------
    StoreError
        If the blob is damaged, or of a codec that this version does not know.
    """
    whole(blob)
    try:
        return _unpacked(zlib.decompress(memoryview(blob)[_PREFIX:]))
    except (zlib.error, ValueError, LookupError, TypeError) as error:
        raise StoreError(f"packed readings cannot be read ({error})") from error


def whole(blob: bytes) -> None:
    """Check a blob without unpacking it; raises StoreError if it is damaged or of an unknown codec."""
    if len(blob) < _PREFIX or zlib.crc32(memoryview(blob)[_PREFIX:]) != int.from_bytes(blob[1:_PREFIX], "little"):
        raise StoreError("packed readings are damaged: their checksum does not fit")
    if blob[0] != CODEC:
        raise StoreError(f"packed readings are of form {blob[0]}, which only a newer Drumside reads")


def _unpacked(data: bytes) -> Columns:
    begin = 4 + int.from_bytes(data[:4], "little")
    head = json.loads(data[4:begin])
    count, rest = head["n"], memoryview(data)[begin:]
    times, rest = _decode_integers(rest, count, head["width"])
    channels: dict[str, NDArray[np.float64]] = {}
    for name, filled, width, decimals in head["channels"]:
        mask = (count + 7) // 8
        there = np.unpackbits(np.frombuffer(rest[:mask], dtype=np.uint8), count=count).astype(bool)
        values = np.full(count, np.nan)
        if decimals is None:
            values[there] = np.frombuffer(rest[mask : mask + 8 * filled], dtype="<f8")
            rest = rest[mask + 8 * filled :]
        else:
            steps, rest = _decode_integers(rest[mask:], filled, width)
            values[there] = steps / 10.0**decimals
        channels[name] = values
    return Columns(times + head["t0"], channels)


def _encode_decimals(values: NDArray[np.float64]) -> tuple[int, int | None, bytes]:
    """Values in integers of their smallest decimal step: bytes per value, decimals (None for floats), data."""
    for decimals in range(MOST_DECIMALS + 1):
        scale = 10.0**decimals
        with np.errstate(over="ignore", invalid="ignore"):
            steps = np.rint(values * scale)
        # Compared after division, as decoding does it: that gives the float nearest to the decimal.
        if (np.abs(steps) < _LARGEST).all() and (steps / scale == values).all():
            width, body = _encode_integers(steps.astype(np.int64))
            return width, decimals, body
    return 8, None, values.astype("<f8").tobytes()


def _encode_integers(numbers: NDArray[np.int64]) -> tuple[int, bytes]:
    """Integers, delta-encoded: bytes per delta, and the deltas in byte planes."""
    steps = np.diff(numbers, prepend=0)
    unsigned = ((steps << 1) ^ (steps >> 63)).astype("<u8")
    largest = int(unsigned.max(initial=0))
    width = max(1, (largest.bit_length() + 7) // 8)
    planes = unsigned.view(np.uint8).reshape(-1, 8)[:, :width]
    return width, planes.T.tobytes()


def _decode_integers(data: memoryview, count: int, width: int) -> tuple[NDArray[np.int64], memoryview]:
    """Integers that `_encode_integers` wrote, and the rest of the data."""
    size = count * width
    planes = np.frombuffer(data[:size], dtype=np.uint8).reshape(width, count)
    eight = np.zeros((count, 8), dtype=np.uint8)
    eight[:, :width] = planes.T
    unsigned = eight.view("<u8").ravel()
    steps = (unsigned >> np.uint64(1)).astype(np.int64) ^ -(unsigned & np.uint64(1)).astype(np.int64)
    return np.cumsum(steps), data[size:]
