"""Blocks: every column back to the bit, in few bytes."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from surveys.logfiles.codec import decode_block, encode_block


@given(arrays(np.float64, st.integers(1, 300), elements=st.floats(-1e6, 1e6)), st.integers(0, 9))
def test_any_column_comes_back_to_the_bit(values: np.ndarray, decimals: int) -> None:
    rounded = np.round(values, decimals)
    times = np.arange(len(values), dtype=np.int64) * 1_000_000
    again_times, again = decode_block(encode_block(times, {"exact": values, "decimal": rounded}))
    assert again_times.tobytes() == times.tobytes()
    assert again["exact"].tobytes() == values.tobytes()
    assert again["decimal"].tobytes() == rounded.tobytes()


def test_values_that_are_not_decimals_are_stored_unchanged() -> None:
    odd = np.array([np.nan, np.inf, -0.0, 1e300, 5e-324])
    _, again = decode_block(encode_block(np.arange(5, dtype=np.int64), {"odd": odd}))
    assert again["odd"].tobytes() == odd.tobytes()


@given(
    arrays(np.float64, st.integers(1, 200), elements=st.floats(-1e4, 1e4)),
    st.data(),
    st.integers(0, 4),
)
def test_gaps_come_back_where_they_were(values: np.ndarray, data: st.DataObject, decimals: int) -> None:
    gappy = np.round(values, decimals)
    gappy[data.draw(arrays(np.bool_, len(values)))] = np.nan
    _, again = decode_block(encode_block(np.arange(len(values)), {"gappy": gappy}))
    assert again["gappy"].tobytes() == gappy.tobytes()


@given(arrays(np.float32, st.integers(1, 200), elements=st.floats(width=32)))
def test_floats_of_four_bytes_come_back_to_the_bit(values: np.ndarray) -> None:
    wide = values.astype(np.float64)
    _, again = decode_block(encode_block(np.arange(len(values)), {"wide": wide}))
    assert again["wide"].tobytes() == wide.tobytes()


def test_only_requested_columns_are_unpacked() -> None:
    times = np.arange(3, dtype=np.int64)
    block = encode_block(times, {"a": np.ones(3), "b": np.zeros(3), "c": np.array([1.5, 2.5, np.nan])})
    again_times, again = decode_block(block, {"c"})
    assert again_times.tolist() == [0, 1, 2]
    assert list(again) == ["c"]
    assert decode_block(block, ())[1] == {}


def test_a_block_of_an_earlier_release_is_still_read() -> None:
    # Written by hand after the description at the head of the module: two times, one column of one decimal.
    import json
    import struct

    import zstandard

    pack = zstandard.ZstdCompressor().compress
    data = [pack(bytes([0, 100])), pack(bytes([0, 253]))]  # +100 us; -3 tenths
    header = json.dumps(
        [
            {
                "name": "time",
                "form": "whole",
                "type": "<i1",
                "first": 5,
                "scale": None,
                "count": 2,
                "bytes": len(data[0]),
            },
            {
                "name": "v",
                "form": "whole",
                "type": "<i1",
                "first": 17,
                "scale": 10.0,
                "count": 2,
                "bytes": len(data[1]),
            },
        ]
    ).encode()
    times, columns = decode_block(struct.pack("<I", len(header)) + header + b"".join(data))
    assert times.tolist() == [5, 105]
    assert columns["v"].tolist() == [1.7, 1.4]
