"""Files in requests: as the body itself or as the part `file` of a form."""

from __future__ import annotations

import re
from typing import IO, Any, cast

from drf_spectacular.types import OpenApiTypes
from rest_framework.exceptions import ValidationError
from rest_framework.parsers import BaseParser
from rest_framework.request import Request

FILE_BODY: dict[str, Any] = {
    "application/octet-stream": OpenApiTypes.BINARY,
    "text/csv": OpenApiTypes.BINARY,
    "multipart/form-data": {
        "type": "object",
        "properties": {"file": {"type": "string", "format": "binary"}},
        "required": ["file"],
    },
}


class RawFileParser(BaseParser):
    """The body itself is the file."""

    media_type = "*/*"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> dict[str, Any]:
        return {"file": stream}


def uploaded_file(request: Request) -> IO[bytes]:
    """The file of a request.

    Raises ValidationError where there is none.
    """
    file: Any = dict(request.data).get("file") if isinstance(request.data, dict) else None
    file = file[0] if isinstance(file, list) else file
    if not hasattr(file, "read"):
        raise ValidationError({"file": "Send the file as the body, or as the part `file`."}, code="required")
    return cast(IO[bytes], file)


def uploaded_name(request: Request, file: IO[bytes]) -> str:
    """The file's own name, without folders and without what cannot be shown."""
    name = getattr(file, "name", None) or request.query_params.get("name", "")
    return re.sub(r"[^\w .()+-]", "_", str(name).replace("\\", "/").rsplit("/", 1)[-1])[:200]
