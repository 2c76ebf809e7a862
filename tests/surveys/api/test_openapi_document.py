"""The OpenAPI document against its committed copy: every difference needs an entry in the changelog of the API."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import OpenApiJsonRenderer2

import surveys.api

COPY = Path(__file__).with_name("openapi.json")
CHANGELOG = Path(surveys.api.__file__).with_name("CHANGELOG.md")
ENTRY = re.compile(r"^## .+ `([0-9a-f]{12})`$", re.MULTILINE)


def test_the_document_is_the_committed_copy() -> None:
    document = OpenApiJsonRenderer2().render(SchemaGenerator().get_schema(request=None, public=True))
    assert document == COPY.read_bytes(), (
        "The OpenAPI document differs from tests/surveys/api/openapi.json. "
        "Regenerate the copy as DEVELOPERS.md says, and add an entry to surveys/api/CHANGELOG.md."
    )


def test_the_changelog_begins_with_an_entry_for_the_committed_copy() -> None:
    entries = ENTRY.findall(CHANGELOG.read_text(encoding="utf-8"))
    assert entries[0] == hashlib.sha256(COPY.read_bytes()).hexdigest()[:12]
    assert len(entries) == len(set(entries))
