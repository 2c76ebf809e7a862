"""File of a backup: lines of JSON in one zstd stream, followed by the SHA-256 of everything before it.

The first line is the head: format, time, and the migrations of the records. For each table follows a line with its name and
columns, then one line for each row with the values in the order of the columns. For a binary value the line holds the length;
the bytes follow the line. The last line holds the number of rows of each table. The digest is in a skippable zstd frame (RFC
8878, 3.1.2), so that any zstd tool can unpack the file.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

import zstandard

FORMAT = "surveys-backup-1"
LEVEL = 3
PIECE = 1 << 20
SHA256_BYTES = 32
# Magic number and length of a skippable frame, four bytes each, little-endian.
TRAILER_HEAD = bytes.fromhex("502a4d18") + SHA256_BYTES.to_bytes(4, "little")
TRAILER_BYTES = len(TRAILER_HEAD) + SHA256_BYTES

Cells = Sequence[Any]


class BackupError(Exception):
    """A backup cannot be written or restored; the text tells the operator why."""


class BackupDamaged(BackupError):
    """The file is incomplete, altered or not a backup."""


class Hashing(io.RawIOBase):
    """Writes bytes to a file and updates their digest."""

    def __init__(self, target: IO[bytes]) -> None:
        self._target = target
        self.digest = hashlib.sha256()

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self.digest.update(data)
        return self._target.write(data)


class Writer:
    """Writes the lines of a backup."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream
        self.rows: dict[str, int] = {}
        self._table = ""

    def head(self, **facts: Any) -> None:
        """Write the first line."""
        self._line({"format": FORMAT} | facts)

    def table(self, name: str, columns: Sequence[str]) -> None:
        """Start the rows of a table."""
        self._table, self.rows[name] = name, 0
        self._line({"table": name, "columns": list(columns)})

    def row(self, cells: Cells) -> None:
        """Write one row; a binary value is given as bytes."""
        binary = [cell for cell in cells if isinstance(cell, bytes)]
        self._line([len(cell) if isinstance(cell, bytes) else cell for cell in cells])
        for cell in binary:
            self._stream.write(cell)
        self.rows[self._table] += 1

    def end(self) -> None:
        """Write the last line."""
        self._line({"rows": self.rows})

    def _line(self, document: Any) -> None:
        self._stream.write(json.dumps(document, separators=(",", ":")).encode() + b"\n")


@contextmanager
def backup_writer(path: Path) -> Iterator[Writer]:
    """Write a backup to a temporary name and rename it once it is complete and on the disk. Only its owner can read it.

    Raises BackupError if the file already exists or cannot be written.
    """
    if path.exists():
        raise BackupError(f"{path} already exists. Enter the path of a new file.")
    unfinished = path.with_name(path.name + ".unfinished")
    try:
        descriptor = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    except OSError as error:
        raise BackupError(f"{unfinished} cannot be written: {error.strerror}.") from None
    try:
        with os.fdopen(descriptor, "wb") as file:
            hashing = Hashing(file)
            packer = zstandard.ZstdCompressor(level=LEVEL, write_checksum=True)
            with packer.stream_writer(hashing, closefd=False) as stream:  # type: ignore[arg-type]
                writer = Writer(stream)
                yield writer
                writer.end()
            file.write(TRAILER_HEAD + hashing.digest.digest())
            file.flush()
            os.fsync(file.fileno())
        whole_file_sha256(unfinished)
        unfinished.rename(path)
    finally:
        unfinished.unlink(missing_ok=True)


def whole_file_sha256(path: Path) -> str:
    """Return the SHA-256 of a backup file, after the digest at its end has been verified.

    Raises BackupDamaged for a file that is incomplete, altered or not a backup; BackupError for one that cannot be read.
    """
    try:
        with path.open("rb") as file:
            left = os.fstat(file.fileno()).st_size - TRAILER_BYTES
            digest = hashlib.sha256()
            while left > 0 and (piece := file.read(min(PIECE, left))):
                digest.update(piece)
                left -= len(piece)
            trailer = file.read()
    except OSError as error:
        raise BackupError(f"{path} cannot be read: {error.strerror}.") from None
    if trailer != TRAILER_HEAD + digest.digest():
        raise BackupDamaged(
            f"{path} is damaged, incomplete or not a backup: the checksum does not match the content. Nothing was restored. "
            "Copy the file again from its source, or use an earlier backup."
        )
    digest.update(trailer)
    return digest.hexdigest()


class Reader:
    """Reads a backup table by table."""

    def __init__(self, stream: io.BufferedReader) -> None:
        self._stream = stream
        self.head = self._document()
        if not isinstance(self.head, dict) or self.head.get("format") != FORMAT:
            raise BackupDamaged(f"The file is not a backup in the format {FORMAT}.")
        self.rows: dict[str, int] = {}
        self._next = self._document()

    def tables(self) -> Iterator[tuple[str, list[str]]]:
        """Yield the name and the columns of each table. Read the rows of a table before the next one. `rows` is set at the
        end.
        """
        while "table" in self._next:
            yield self._next["table"], self._next["columns"]
        self.rows = self._next["rows"]

    def lines(self, binary: Sequence[int]) -> Iterator[list[Any]]:
        """Yield the rows of the table; `binary` holds the positions of binary values in a row."""
        while isinstance(cells := self._document(), list):
            for place in binary:
                if cells[place] is not None:
                    cells[place] = self._stream.read(cells[place])
            yield cells
        self._next = cells

    def _document(self) -> Any:
        try:
            return json.loads(self._stream.readline())
        except (ValueError, zstandard.ZstdError) as error:
            raise BackupDamaged(f"The file cannot be read as a backup: {error}.") from None


@contextmanager
def backup_reader(path: Path) -> Iterator[Reader]:
    """Read a backup whose checksum has been verified."""
    with path.open("rb") as file:
        unpacked = zstandard.ZstdDecompressor().stream_reader(file, read_size=PIECE)
        yield Reader(io.BufferedReader(unpacked, PIECE))
