"""A file of text as chunks of whole lines in UTF-8, whatever its encoding and size."""

from __future__ import annotations

import codecs
from collections.abc import Callable, Iterator

from surveys.core.errors import ServiceError
from surveys.logfiles.row_parser import MAX_LINE_LENGTH

CHUNK_BYTES = 2 << 20
_BOM = codecs.BOM_UTF8


def chunks(read_piece: Callable[[], bytes], encoding: str, size: int = CHUNK_BYTES) -> Iterator[bytes]:
    """Chunks of about `size` bytes that end where a line ends, the last one where the file does.

    Raises ServiceError where the bytes are not of the encoding, or a line goes on for ever.
    """
    waiting: list[bytes] = []
    held = 0
    for piece in _in_utf8(read_piece, encoding):
        waiting.append(piece)
        held += len(piece)
        if held < size:
            continue
        text = b"".join(waiting)
        cut = _last_line_end(text)
        if not cut and len(text) > size + 8 * MAX_LINE_LENGTH:
            raise ServiceError("line-too-long", field="file", line=None, at_most=MAX_LINE_LENGTH)
        if cut:
            yield text[:cut]
        waiting, held = [text[cut:]], len(text) - cut
    if rest := b"".join(waiting):
        yield rest


def not_text(encoding: str, error: UnicodeError) -> ServiceError:
    """The rejection of a file that is not text of its encoding."""
    byte = f"{error.object[error.start]:#04x}" if isinstance(error, UnicodeDecodeError) else None
    return ServiceError("file-not-text/log", field="file", encoding=encoding.upper(), byte=byte)


def _in_utf8(read_piece: Callable[[], bytes], encoding: str) -> Iterator[bytes]:
    """The text's bytes in UTF-8, without a byte order mark. UTF-8 itself is handed on unread."""
    if encoding == "utf-8":
        start = b""
        while len(start) < len(_BOM) and (piece := read_piece()):
            start += piece
        yield start.removeprefix(_BOM)
        while piece := read_piece():
            yield piece
        return
    decoder = codecs.getincrementaldecoder(encoding)()
    try:
        first = True
        while piece := read_piece():
            text = decoder.decode(piece)
            yield _encoded(text.removeprefix("\N{BYTE ORDER MARK}") if first else text)
            first = first and not text
        yield _encoded(decoder.decode(b"", final=True))
    except UnicodeError as error:  # also where text of two-byte letters does not begin with its mark
        raise not_text(encoding, error) from None


def _encoded(text: str) -> bytes:
    return text.encode("utf-8")


def _last_line_end(text: bytes) -> int:
    """Just behind the last line end, 0 if there is none; a carriage return at the very end may be half of one."""
    end = text.rfind(b"\n") + 1
    return end or text.rfind(b"\r", 0, len(text) - 1) + 1
