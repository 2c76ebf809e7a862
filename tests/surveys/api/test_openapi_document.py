"""The OpenAPI document against its committed copy: every difference needs an entry in the changelog of the API."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from difflib import unified_diff
from itertools import islice
from pathlib import Path
from typing import Any

import pytest
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import OpenApiJsonRenderer2

import surveys.api

COPY = Path(__file__).with_name("openapi.json")
CHANGELOG = Path(surveys.api.__file__).with_name("CHANGELOG.md")
ENTRY = re.compile(r"^## .+ `([0-9a-f]{12})`$", re.MULTILINE)
COLUMNS = frozenset({2**15, 2**31, 2**63})
"""Smallest numbers beyond the integer columns of PostgreSQL and SQLite."""


def test_the_document_is_the_committed_copy() -> None:
    document = OpenApiJsonRenderer2().render(SchemaGenerator().get_schema(request=None, public=True))
    if document != COPY.read_bytes():
        pytest.fail(
            "The OpenAPI document differs from tests/surveys/api/openapi.json. "
            "Regenerate the copy as DEVELOPERS.md says, and add an entry to surveys/api/CHANGELOG.md.\n"
            + first_differences(COPY.read_text(encoding="utf-8"), document.decode())
        )


def first_differences(copy: str, document: str) -> str:
    """Return the first lines of the difference from the first line that differs; the rest of the texts is not compared."""
    old, new = copy.splitlines(), document.splitlines()
    shorter = min(len(old), len(new))
    start = next((n for n in range(shorter) if old[n] != new[n]), shorter)
    window = slice(max(start - 3, 0), start + 200)
    lines = unified_diff(old[window], new[window], "copy", "document", lineterm="")
    return f"First difference in line {start + 1}:\n" + "\n".join(islice(lines, 40))


def test_a_difference_is_reported_from_its_first_line() -> None:
    copy = [f"line {n}" for n in range(50_000)]
    report = first_differences("\n".join(copy), "\n".join([*copy[:40_000], "other", *copy[40_001:]]))
    assert report.startswith("First difference in line 40001:")
    assert "-line 40000\n+other" in report
    assert "in line 3:" in first_differences("a\nb", "a\nb\nc")


def limits(part: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Yield the limits of the numbers in the document, with their paths."""
    for name, one in part.items() if isinstance(part, dict) else enumerate(part):
        if name in ("minimum", "maximum") and not isinstance(one, dict):
            yield f"{path}/{name}", one
        elif isinstance(one, dict | list):
            yield from limits(one, f"{path}/{name}")


def test_the_document_has_no_limits_of_database_columns() -> None:
    found = list(limits(json.loads(COPY.read_text(encoding="utf-8"))))
    assert len(found) > 100
    assert [
        (path, limit) for path, limit in found if abs(limit + 1) in COLUMNS or abs(limit) in COLUMNS
    ] == []


def test_the_changelog_begins_with_an_entry_for_the_committed_copy() -> None:
    entries = ENTRY.findall(CHANGELOG.read_text(encoding="utf-8"))
    assert entries[0] == hashlib.sha256(COPY.read_bytes()).hexdigest()[:12]
    assert len(entries) == len(set(entries))
