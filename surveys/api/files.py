"""Files sent and given back: the part `file` of a form, or the body itself; an attachment."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from django.http import StreamingHttpResponse
from rest_framework import serializers
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request

from surveys.api.rendering import JSONRenderer
from surveys.inputs.rejections import rejection
from surveys.models import Document, Log
from surveys.pipes.selectors import kept_file

PDF_REQUEST: dict[str, Any] = {
    "application/pdf": {"type": "string", "format": "binary"},
    "multipart/form-data": {
        "type": "object",
        "properties": {"file": {"type": "string", "format": "binary", "description": "The file."}},
        "required": ["file"],
    },
}
"""How a PDF may be sent, for the API's description."""


FILE_REQUEST: dict[str, Any] = {
    "application/octet-stream": {"type": "string", "format": "binary"},
    "text/csv": {"type": "string", "format": "binary"},
    "multipart/form-data": PDF_REQUEST["multipart/form-data"],
}
"""How any other file may be sent."""


class RawFileParser(BaseParser):
    """The body itself is the file."""

    media_type = "*/*"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> dict[str, Any]:
        return {"file": stream}


class NamedRenderer(BaseRenderer):
    """Names a format that the view writes itself; errors are problem documents all the same."""

    charset = "utf-8"

    def render(
        self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None
    ) -> bytes:
        return JSONRenderer().render(data)


class PDFRenderer(NamedRenderer):
    media_type = "application/pdf"
    format = "pdf"


class FileRenderer(NamedRenderer):
    media_type = "application/octet-stream"
    format = "file"


class CSVRenderer(NamedRenderer):
    media_type = "text/csv"
    format = "csv"


class ParquetRenderer(NamedRenderer):
    media_type = "application/vnd.apache.parquet"
    format = "parquet"


class CalendarRenderer(NamedRenderer):
    media_type = "text/calendar"
    format = "ics"


class DocumentOut(serializers.ModelSerializer):
    received_by = serializers.CharField(source="received_by.username", read_only=True)

    class Meta:
        model = Document
        fields = ["id", "title", "file_name", "size_bytes", "sha256", "received_at", "received_by"]


def file_sent(request: Request) -> Any:
    """The file of a request. Raises ValidationError if the request has none."""
    file: Any = dict(request.data).get("file") if isinstance(request.data, dict) else None
    file = file[0] if isinstance(file, list) else file
    if not hasattr(file, "read"):
        raise rejection("required/file", field="file")
    return file


def attachment(content: Iterator[bytes], name: str, content_type: str) -> StreamingHttpResponse:
    """A file to save, never to show in the page: it came from outside."""
    answer = StreamingHttpResponse(content, content_type=content_type)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    answer["X-Content-Type-Options"] = "nosniff"
    return answer


def document_answer(document: Document) -> StreamingHttpResponse:
    """A kept PDF as an attachment, with its checksum."""
    return _file_as_received(document, document.parts, "document.pdf", "application/pdf")


def log_answer(log: Log) -> StreamingHttpResponse:
    """The logger's file as an attachment, with its checksum."""
    return _file_as_received(log, log.file_parts, "log", "application/octet-stream")


def _file_as_received(
    kept: Document | Log, parts: Any, name: str, content_type: str
) -> StreamingHttpResponse:
    name = re.sub(r"[^A-Za-z0-9.()+-]", "_", kept.file_name) or name
    answer = attachment(kept_file(parts), name, content_type)
    answer["Content-Length"] = str(kept.size_bytes)
    answer["ETag"] = f'"{kept.sha256}"'
    return answer
