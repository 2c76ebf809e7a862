"""Every row of a database as text, to compare two databases: `python -m tests.surveys.drills.rows` prints JSON.

Figures are written to the bit and times to the microsecond. Documents are compared as JSON has it: PostgreSQL sorts their keys
and knows no difference between 1 and 1.0.
"""

from __future__ import annotations

import json
from typing import Any

import django
from django.apps import apps

if not apps.ready:
    django.setup()

from django.db import models

# Different in each database, as in the backup.
OWN = {
    "django_session",
    "axes_accessattempt",
    "axes_accessattemptexpiration",
    "axes_accessfailurelog",
    "axes_accesslog",
}


def all_rows() -> dict[str, list[list[str]]]:
    """Return rows by table, sorted by key."""
    found = [m for m in apps.get_models(include_auto_created=True) if not m._meta.swapped]
    return {m._meta.db_table: rows_of(m) for m in found if m._meta.db_table not in OWN}


def rows_of(model: type[models.Model]) -> list[list[str]]:
    fields = model._meta.concrete_fields
    rows = model._base_manager.order_by("pk").values_list(*(field.attname for field in fields))
    return [[written(value, field) for value, field in zip(row, fields, strict=True)] for row in rows]


def written(value: Any, field: models.Field[Any, Any]) -> str:
    if value is None:
        return "null"
    if isinstance(field, models.JSONField):
        return json.dumps(json_value(value), sort_keys=True)
    if isinstance(field, models.BinaryField):
        return bytes(value).hex()
    return value.hex() if isinstance(value, float) else repr(value)


def json_value(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: json_value(one) for key, one in value.items()}
    if isinstance(value, list):
        return [json_value(one) for one in value]
    return float(value) + 0.0 if isinstance(value, int | float) and not isinstance(value, bool) else value


if __name__ == "__main__":
    print(json.dumps(all_rows()))  # noqa: T201
