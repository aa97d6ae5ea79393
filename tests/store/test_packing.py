"""The codec of packed readings: lossless, small, and protected against damage."""

import math
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roastlog.errors import StoreError
from roastlog.store.packing import CODEC, Columns, pack, unpack, whole
from tests.roast_corpus import batches, read

START_MS = 1_795_600_000_000
steps = st.sampled_from([1.0, 0.5, 0.25, 0.1, 0.01, 0.001, 0.0001])
values = st.one_of(
    st.just(math.nan),
    st.builds(lambda n, step: round(n * step, 4), st.integers(-(10**7), 10**7), steps),
    st.floats(allow_nan=False),
)


def same(columns: Columns, at_ms: list[int], channels: dict[str, list[float]]) -> bool:
    """Whether columns are equal to the bit, except for the sign of zero."""
    return (
        columns.at_ms.tolist() == at_ms
        and list(columns.channels) == list(channels)
        and all(np.array_equal(columns.channels[name], channels[name], equal_nan=True) for name in channels)
    )


@given(data=st.data(), gaps_ms=st.lists(st.integers(1, 10**10), max_size=40), names=st.sets(st.text(), max_size=4))
def test_packing_is_lossless(data: st.DataObject, gaps_ms: list[int], names: set[str]):
    """Any increasing times, numbers, missing values, names, and empty data are restored."""
    at_ms = [START_MS + sum(gaps_ms[: place + 1]) for place in range(len(gaps_ms))]
    channels = {
        name: data.draw(st.lists(values, min_size=len(at_ms), max_size=len(at_ms)), label=name) for name in names
    }
    assert same(unpack(pack(at_ms, channels)), at_ms, channels)


@pytest.mark.parametrize("decimals", [0, 1, 2, 3, 4])
def test_every_decimal_of_a_sensors_range_is_exact(decimals: int):
    """Each step from −50 to 600 °C is restored as the nearest float, as given by Python's round."""
    some = [round(number / 10**decimals, decimals) for number in range(-50 * 10**decimals, 600 * 10**decimals, 7)]
    times = list(range(len(some)))
    assert same(unpack(pack(times, {"probe": some})), times, {"probe": some})


def test_a_step_of_a_tenth_takes_no_more_than_its_noise():
    """720 s of four channels in tenths take under 2.5 KB: 1.14 KB measured for a quieter probe, 23 KB as floats."""
    rng = np.random.default_rng(7)
    roast = batches(900, 1)[0]
    seconds = np.arange(720)
    channels = {
        f"channel_{number}": np.round(read(np.interp(seconds, roast.time_s, roast.probe_c), rng, sd_c=0.2), 4)
        for number in range(4)  # rounded like live readings before they are stored
    }
    blob = pack(START_MS + seconds * 1000, channels)
    assert len(blob) < 2500
    assert all(np.array_equal(unpack(blob).channels[name], column) for name, column in channels.items())


def test_every_flipped_bit_is_found():
    """A blob with any bit flipped, even in the checksum, is refused with a message."""
    blob = pack([1, 2, 3], {"probe": [20.0, math.nan, 20.1], "surface": [1 / 3, 2.0, 3.0]})
    for place in range(8, 8 * len(blob)):
        broken = bytearray(blob)
        broken[place // 8] ^= 1 << place % 8
        with pytest.raises(StoreError, match="checksum does not fit"):
            unpack(bytes(broken))


@given(st.binary(max_size=200))
def test_any_bytes_are_refused_in_words(noise: bytes):
    """Any bytes, with or without a valid checksum, give a StoreError and nothing else."""
    for blob in (noise, bytes([CODEC]) + zlib.crc32(noise).to_bytes(4, "little") + noise):
        with pytest.raises(StoreError):
            unpack(blob)


@given(st.binary(max_size=200))
def test_a_body_that_is_none_is_refused_in_words(body: bytes):
    """Nonsense with a valid checksum and compression is refused with a message."""
    packed = zlib.compress(body)
    with pytest.raises(StoreError, match="cannot be read"):
        unpack(bytes([CODEC]) + zlib.crc32(packed).to_bytes(4, "little") + packed)


def test_a_cut_blob_is_found():
    """A blob truncated by any length is refused."""
    blob = pack(range(100), {"probe": np.linspace(20, 30, 100)})
    for length in range(len(blob)):
        with pytest.raises(StoreError):
            whole(blob[:length])


def test_a_blob_of_a_later_codec_is_reported_as_such():
    """The message says that this version cannot read it, not that it is damaged."""
    blob = pack([1], {"probe": [20.0]})
    with pytest.raises(StoreError, match="a newer Drumside"):
        whole(bytes([CODEC + 1]) + blob[1:])
