"""Storage of the unchanged file while it is read, with parts on disk beyond the memory limit."""

from __future__ import annotations

import hashlib
import weakref
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import islice
from tempfile import SpooledTemporaryFile
from typing import IO, Any, Generic, TypeVar

import zstandard

from surveys.core.errors import ServiceError

PART_BYTES = 1 << 20
# So much of the parts stays in memory; beyond it they lie in a temporary file.
SPOOL_BYTES = 8 << 20
FILE_LEVEL = 1
PARTS_WAITING = 8

Item = TypeVar("Item")


class _Parts(ABC, Generic[Item]):
    """Items in order, as a list that may lie on disk: length, items by position, any number of passes."""

    def __init__(self) -> None:
        self._file: Any = SpooledTemporaryFile(max_size=SPOOL_BYTES)  # noqa: SIM115 - lives as long as the parts
        self._places: list[tuple[int, int, int]] = []
        self._end = 0
        weakref.finalize(self, self._file.close)

    def __len__(self) -> int:
        return len(self._places)

    def __getitem__(self, n: int) -> Item:
        start, length, count = self._places[n]
        self._file.seek(start)
        return self._item(count, self._file.read(length))

    def __iter__(self) -> Iterator[Item]:
        return (self[n] for n in range(len(self)))

    def batches(self, size: int) -> Iterator[list[tuple[int, Item]]]:
        """Items with their position, `size` at a time: what one INSERT takes."""
        numbered = iter(enumerate(self))
        while batch := list(islice(numbered, size)):
            yield batch

    @property
    def size_bytes(self) -> int:
        """Bytes of all parts."""
        return self._end

    def _append(self, content: bytes, count: int = 0) -> None:
        self._file.seek(self._end)
        self._file.write(content)
        self._places.append((self._end, len(content), count))
        self._end += len(content)

    @abstractmethod
    def _item(self, count: int, content: bytes) -> Item:
        """An item as it was handed in."""


class FileParts(_Parts[bytes]):
    """Compressed pieces of the file; decompressed in order they are the file."""

    def append(self, content: bytes) -> None:
        """Keep the next piece."""
        self._append(content)

    def _item(self, count: int, content: bytes) -> bytes:
        return content


class Blocks(_Parts[tuple[int, bytes]]):
    """Blocks of readings: how many, and the compressed columns."""

    def append(self, count: int, content: bytes) -> None:
        """Keep the next block."""
        self._append(content, count)

    @property
    def readings(self) -> int:
        """Readings of all blocks."""
        return sum(count for _, _, count in self._places)

    def _item(self, count: int, content: bytes) -> tuple[int, bytes]:
        return count, content


class FileStore:
    """Hands a file's bytes on and keeps them: checksum, size and compressed parts, packed on other threads."""

    def __init__(self, source: IO[bytes], most_bytes: int, crew: ThreadPoolExecutor) -> None:
        self._source, self._most, self._crew = source, most_bytes, crew
        self._digest = hashlib.sha256()
        self._waiting: deque[Future[bytes]] = deque()
        self.size_bytes = 0
        self.parts = FileParts()

    @property
    def sha256(self) -> str:
        """Checksum of what was read so far, in hexadecimal."""
        return self._digest.hexdigest()

    def read_piece(self) -> bytes:
        """The next piece; empty at the end of the file.

        Raises ServiceError once the file is larger than allowed.
        """
        piece = self._source.read(PART_BYTES)
        if not piece:
            self._take(0)
            return b""
        self.size_bytes += len(piece)
        if self.size_bytes > self._most:
            raise ServiceError("file-too-large/log", field="file", megabytes=self._most // 1_000_000)
        self._digest.update(piece)
        self._waiting.append(self._crew.submit(_packed, piece))
        self._take(PARTS_WAITING)
        return piece

    def _take(self, waiting: int) -> None:
        while len(self._waiting) > waiting:
            self.parts.append(self._waiting.popleft().result())


def _packed(piece: bytes) -> bytes:
    return zstandard.ZstdCompressor(level=FILE_LEVEL).compress(piece)
