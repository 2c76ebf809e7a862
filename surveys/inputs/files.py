"""Uploaded files."""

from __future__ import annotations

import re
from typing import Any

from django.http import HttpRequest


def file_name(request: HttpRequest, file: Any) -> str:
    """The file's own name, or the one in the address, without folders and without characters that cannot be shown."""
    name = getattr(file, "name", None) or request.GET.get("name", "")
    return re.sub(r"[^\w .()+-]", "_", str(name).replace("\\", "/").rsplit("/", 1)[-1])[:200]
