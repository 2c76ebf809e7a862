"""Blocks of readings as compressed columns, exact to the bit.

A logger writes decimals, so a column is kept as whole numbers of its last decimal place (checked to give
the same floats back), the differences between neighbours, bytes of equal weight side by side, then zstd:
a few bytes a reading. A column of which that is not true is kept as plain floats, of four bytes where these
are enough. Missing values (nan) of a decimal column are stored as a bit map next to the column.

Layout of a block: length of the header (4 bytes, little-endian), a JSON header, the columns one after another.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Collection, Mapping
from typing import Any

import numpy as np
import zstandard
from numpy.typing import NDArray

BLOCK_ROWS = 65_536
MAX_DECIMALS = 9
_TIME = "time"
_LARGEST_EXACT = 2.0**53
_SAMPLE = 64
_NAN_BITS = np.float64(np.nan).view(np.int64)

Columns = dict[str, NDArray[np.float64]]
_Packed = tuple[dict[str, Any], bytes]


def encode_block(times: NDArray[np.int64], columns: Mapping[str, NDArray[np.float64]]) -> bytes:
    """Pack one block: times in microseconds since 1970 UTC, and the numbers as the file gave them."""
    packed = [_packed(_TIME, times, scale=None)]
    packed += [_packed_column(name, values) for name, values in columns.items()]
    header = json.dumps([meta for meta, _ in packed], separators=(",", ":")).encode()
    return struct.pack("<I", len(header)) + header + b"".join(data for _, data in packed)


def decode_block(
    content: bytes | memoryview, names: Collection[str] | None = None, *, with_times: bool = True
) -> tuple[NDArray[np.int64], Columns]:
    """Unpack a block: the times, and each column as the file gave it; of the columns only those named, if any are.

    Without times these come empty, which saves a reduction of the whole log what it does not look at.
    """
    content = memoryview(content)
    (length,) = struct.unpack_from("<I", content)
    start = 4 + length
    times = np.empty(0, dtype=np.int64)
    columns: Columns = {}
    for meta in json.loads(bytes(content[4:start])):
        data = content[start : start + meta["bytes"]]
        start += meta["bytes"]
        if meta["name"] == _TIME:
            times = _unpacked(meta, data) if with_times else times
        elif names is None or meta["name"] in names:
            columns[meta["name"]] = _unpacked(meta, data)
    return times, columns


def _packed_column(name: str, values: NDArray[np.float64]) -> _Packed:
    missing = np.isnan(values)
    if not missing.any():
        found = _packed_decimals(name, values)
    elif (values.view(np.int64)[missing] == _NAN_BITS).all():
        found = _packed_with_gaps(name, values, missing)
    else:
        found = None
    return found or _packed_floats(name, values)


def _packed_decimals(name: str, values: NDArray[np.float64]) -> _Packed | None:
    """A column of decimals, or None if it is none."""
    largest = np.abs(values).max(initial=0.0)
    bits = values.view(np.int64)
    sample, sample_bits = values[:_SAMPLE], bits[:_SAMPLE]
    for decimals in range(MAX_DECIMALS + 1):
        scale = 10.0**decimals
        if not largest < _LARGEST_EXACT / scale:  # also where something is not finite
            return None
        # The quotient is compared bit for bit, so that -0.0 and what has more decimals fall through.
        if not ((np.rint(sample * scale).astype(np.int64) / scale).view(np.int64) == sample_bits).all():
            continue
        scaled = values * scale
        whole = np.rint(scaled, out=scaled).astype(np.int64)
        if ((whole / scale).view(np.int64) == bits).all():
            return _packed(name, whole, scale=scale)
    return None


def _packed_with_gaps(name: str, values: NDArray[np.float64], missing: NDArray[np.bool_]) -> _Packed | None:
    """Decimals with the value before in each gap, and behind them the map of the gaps."""
    last = np.maximum.accumulate(np.where(missing, -1, np.arange(len(values))))
    filled = np.where(last < 0, 0.0, values[last])
    found = _packed_decimals(name, filled)
    if found is None:
        return None
    meta, data = found
    gaps = _compress(np.packbits(missing).tobytes())
    return meta | {"bytes": len(data) + len(gaps), "gaps": len(gaps)}, data + gaps


def _packed_floats(name: str, values: NDArray[np.float64]) -> _Packed:
    with np.errstate(over="ignore"):
        single = values.astype("<f4")
    small = (single.astype(np.float64).view(np.int64) == values.view(np.int64)).all()
    data = _compress(_shuffled(single if small else values))
    form = "float4" if small else "float"
    return {"name": name, "form": form, "count": len(values), "bytes": len(data)}, data


def _packed(name: str, values: NDArray[np.int64], scale: float | None) -> _Packed:
    differences = np.diff(values, prepend=np.int64(0))
    first = int(differences[0]) if len(differences) else 0
    differences[:1] = 0
    narrow = _narrowest(differences)
    data = _compress(_shuffled(differences.astype(narrow)))
    meta = {
        "name": name,
        "form": "whole",
        "type": narrow,
        "first": first,
        "scale": scale,
        "count": len(values),
    }
    return meta | {"bytes": len(data)}, data


def _unpacked(meta: dict[str, Any], data: memoryview) -> Any:
    gaps = meta.get("gaps", 0)
    raw = _decompress(data[: len(data) - gaps], meta["count"] * 8)
    if meta["form"] == "float":
        return _unshuffled(raw, "<f8")
    if meta["form"] == "float4":
        return _unshuffled(raw, "<f4").astype(np.float64)
    differences = _unshuffled(raw, meta["type"])
    whole = np.cumsum(differences, dtype=np.int64)
    whole += meta["first"]
    if meta["scale"] is None:
        return whole
    values = whole / meta["scale"]
    if gaps:
        bits = np.frombuffer(_decompress(data[len(data) - gaps :], meta["count"]), dtype=np.uint8)
        values[np.unpackbits(bits, count=meta["count"]).view(bool)] = np.nan
    return values


def _narrowest(values: NDArray[np.int64]) -> str:
    low, high = values.min(initial=0), values.max(initial=0)
    for name in ("<i1", "<i2", "<i4"):
        info = np.iinfo(name)
        if info.min <= low and high <= info.max:
            return name
    return "<i8"


def _shuffled(values: NDArray[Any]) -> bytes:
    return values.view(np.uint8).reshape(len(values), values.itemsize).T.tobytes()


def _unshuffled(raw: bytes, kind: str) -> NDArray[Any]:
    width = np.dtype(kind).itemsize
    plain = np.frombuffer(raw, dtype=np.uint8).reshape(width, -1).T
    return np.ascontiguousarray(plain).view(kind).ravel()


def _compress(raw: bytes) -> bytes:
    return zstandard.ZstdCompressor(level=3, write_content_size=True).compress(raw)


def _decompress(data: memoryview, most: int) -> bytes:
    return zstandard.ZstdDecompressor().decompress(data, max_output_size=most)
