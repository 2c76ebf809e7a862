"""More rows of every kind: copies of records with all rows they need.

For tests that the cost does not grow with the number of rows. A copy keeps the references of its original, except to rows
copied with it.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from datetime import timedelta
from itertools import count
from typing import Any

from django.apps import apps
from django.db import IntegrityError, models, transaction
from django.db.models import UniqueConstraint

from surveys.models.base import uuid7

A_MONTH = timedelta(days=30)
Rows = dict[type[models.Model], list[Any]]
# Of what is copied: its kind and key to the key of the copy.
Keys = dict[tuple[type[models.Model], Any], Any]


def grow(times: int) -> None:
    """Copy every row of each kind so many times, but for those of which the database lets there be no more."""
    kinds = [model for model in apps.get_app_config("surveys").get_models() if model._meta.pk is not None]
    there = [row for model in kinds for row in model._default_manager.all()]
    numbers = count(1)
    for row in there:
        for _ in range(times):
            _copy_with_dependents(row, next(numbers))


def _copy_with_dependents(row: models.Model, number: int) -> None:
    found = _with_dependents(row)
    new: Keys = {
        (model, one.pk): uuid7() if isinstance(model._meta.pk, models.UUIDField) else None
        for model, rows in found.items()
        for one in rows
    }
    with suppress(IntegrityError), transaction.atomic():
        for model, rows in found.items():
            for one in rows:
                new[model, one.pk] = _copy(one, new, number)


def _copy(row: Any, new: Keys, number: int) -> Any:
    """Store a copy and give its key back."""
    model = type(row)
    alike = _distinguishable(row, new)
    values = {}
    for field in model._meta.concrete_fields:
        value = getattr(row, field.attname)
        if field.is_relation:
            value = new.get((field.related_model, value), value)  # type: ignore[arg-type]
        elif field.name in alike and isinstance(value, str):
            value = f"{value}~{uuid7().hex[-8:]}"[-(field.max_length or 200) :]
        elif field.name in alike and isinstance(value, int):
            value += 10 * number
        elif field.name in ("starts_at", "ends_at"):
            value += number * A_MONTH  # nobody and nothing is held twice at once
        values[field.attname] = value
    values[model._meta.pk.attname] = new[model, row.pk]  # type: ignore[union-attr]
    copy = model(**values)
    copy.save(force_insert=True)
    return copy.pk


def _distinguishable(row: models.Model, new: Keys) -> set[str]:
    """Return the unique fields of a copy that must differ from its original and refer to no other copied row."""
    unique = [(field.name,) for field in row._meta.concrete_fields if field.unique]
    unique += [tuple(one.fields) for one in row._meta.constraints if isinstance(one, UniqueConstraint)]
    return {name for names in unique if not any(_moves(row, other, new) for other in names) for name in names}


def _moves(row: models.Model, name: str, new: Keys) -> bool:
    field: Any = row._meta.get_field(name)
    return field.is_relation and (field.related_model, getattr(row, field.attname)) in new


def _with_dependents(row: models.Model) -> Rows:
    """A row and, after it, all that refer to it or to these and cannot do without."""
    found: Rows = {type(row): [row]}
    waiting = [row]
    while waiting:
        for other in _referring(waiting.pop()):
            rows = found.setdefault(type(other), [])
            if other not in rows:
                rows.append(other)
                waiting.append(other)
    return found


def _referring(row: models.Model) -> Iterator[models.Model]:
    for relation in row._meta.get_fields(include_hidden=True):
        if (
            not isinstance(relation, models.ManyToOneRel)
            or relation.related_model._meta.app_label != "surveys"
        ):
            continue
        if not relation.field.null:
            yield from relation.related_model._default_manager.filter(**{relation.field.name: row})
