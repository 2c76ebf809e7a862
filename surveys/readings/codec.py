"""Blocks of readings as compressed columns, exact to the bit.

A logger writes decimals, so a column is kept as whole numbers of its last decimal place (checked to give
the same floats back), the differences between neighbours, bytes of equal weight side by side, then zstd:
a few bytes a reading. A column of which that is not true is kept as plain floats.

Layout of a block: length of the header (4 bytes, little-endian), a JSON header, the columns one after another.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from typing import Any

import numpy as np
import zstandard
from numpy.typing import NDArray

BLOCK_ROWS = 65_536
MOST_DECIMALS = 9
_LARGEST_EXACT = 2.0**53


def encode_block(times: NDArray[np.int64], columns: Mapping[str, NDArray[np.float64]]) -> bytes:
    """Pack one block: times in microseconds since 1970 UTC, and the numbers as the file gave them."""
    packed = [_packed("time", times, scale=None)]
    packed += [_packed_column(name, values) for name, values in columns.items()]
    header = json.dumps([meta for meta, _ in packed], separators=(",", ":")).encode()
    return struct.pack("<I", len(header)) + header + b"".join(data for _, data in packed)


def decode_block(content: bytes | memoryview) -> tuple[NDArray[np.int64], dict[str, NDArray[np.float64]]]:
    """Unpack a block: the times, and each column as the file gave it."""
    content = memoryview(content)
    (length,) = struct.unpack_from("<I", content)
    start = 4 + length
    times = np.empty(0, dtype=np.int64)
    columns: dict[str, NDArray[np.float64]] = {}
    for meta in json.loads(bytes(content[4:start])):
        values = _unpacked(meta, content[start : start + meta["bytes"]])
        start += meta["bytes"]
        if meta["name"] == "time":
            times = values
        else:
            columns[meta["name"]] = values
    return times, columns


def _packed_column(name: str, values: NDArray[np.float64]) -> tuple[dict[str, Any], bytes]:
    largest = np.abs(values).max(initial=0.0)
    for decimals in range(MOST_DECIMALS + 1):
        scale = 10.0**decimals
        if not largest < _LARGEST_EXACT / scale:  # also where something is not finite
            break
        whole = np.rint(values * scale).astype(np.int64)
        # The quotient is compared bit for bit, so that -0.0 and what has more decimals fall through.
        if (whole / scale).tobytes() == values.tobytes():
            return _packed(name, whole, scale=scale)
    data = _compress(_shuffled(values))
    return {"name": name, "form": "float", "count": len(values), "bytes": len(data)}, data


def _packed(name: str, values: NDArray[np.int64], scale: float | None) -> tuple[dict[str, Any], bytes]:
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
    raw = zstandard.ZstdDecompressor().decompress(data, max_output_size=meta["count"] * 8)
    if meta["form"] == "float":
        return _unshuffled(raw, "<f8")
    differences = _unshuffled(raw, meta["type"]).astype(np.int64)
    differences[:1] = meta["first"]
    whole = np.cumsum(differences)
    return whole if meta["scale"] is None else whole / meta["scale"]


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
