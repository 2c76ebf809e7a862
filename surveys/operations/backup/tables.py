"""Which tables a backup holds, and their rows as values of JSON and back."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime, time
from decimal import Decimal
from functools import partial
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db import connection, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import BinaryField, Field, JSONField, Model

# Of no use elsewhere: people sign in again, and nobody is locked any more. Which migrations are applied is each
# database's own affair, and must agree.
LEFT_OUT = {
    "django_session": "sessions; people sign in again",
    "axes_accessattempt": "failures to sign in; nobody is locked",
    "axes_accessattemptexpiration": "failures to sign in; nobody is locked",
    "axes_accessfailurelog": "failures to sign in; nobody is locked",
    "axes_accesslog": "failures to sign in; nobody is locked",
}
# A migrated database has rows of its own here, which those of the file replace.
FILLED_BY_MIGRATION = frozenset({"django_content_type", "auth_permission"})

_TEXTS = (UUID, datetime, date, time, Decimal)


class Table:
    """A table of the models: its columns, and what becomes of a value of each on its way."""

    def __init__(self, model: type[Model]) -> None:
        self.model = model
        self.name = model._meta.db_table
        self.fields: list[Field[Any, Any]] = list(model._meta.concrete_fields)
        self.columns = [str(field.column) for field in self.fields]
        self.binary = [n for n, field in enumerate(self.fields) if isinstance(field, BinaryField)]

    def rows(self) -> Iterator[list[Any]]:
        """Every row, in the order of its keys, as values of JSON and bytes. Few at a time are in memory."""
        at_once = 8 if self.binary else 500
        names = [field.attname for field in self.fields]
        found = self.model._base_manager.order_by("pk").values_list(*names)
        for row in found.iterator(chunk_size=at_once):
            yield [_given(value) for value in row]

    def stored(self) -> list[Callable[[Any], Any]]:
        """For each column, from a value of JSON to what the database at hand takes."""
        # The connection itself: its proxy would look the connection up at every use, millions of times here.
        here = connections[connection.alias]
        return [_taken(field, here) for field in self.fields]

    def count(self) -> int:
        """How many rows the table has."""
        return self.model._base_manager.count()


def tables() -> list[Table]:
    """The tables a backup holds, many-to-many ones among them."""
    models = apps.get_models(include_auto_created=True)
    found = [Table(m) for m in models if m._meta.managed and not m._meta.proxy and not m._meta.swapped]
    return [table for table in found if table.name not in LEFT_OUT]


def migrations() -> list[str]:
    """The migrations applied to the database."""
    applied = MigrationRecorder(connection).applied_migrations()
    return sorted(f"{app}.{name}" for app, name in applied)


def _given(value: Any) -> Any:
    if isinstance(value, _TEXTS):
        return str(value)
    if isinstance(value, memoryview):
        return bytes(value)
    return value


def _taken(field: Field[Any, Any], here: BaseDatabaseWrapper) -> Callable[[Any], Any]:
    to_python = _as_it_is if isinstance(field, BinaryField | JSONField) else field.to_python
    return partial(_prepared, field, to_python, here)


def _prepared(
    field: Field[Any, Any], to_python: Callable[[Any], Any], here: BaseDatabaseWrapper, value: Any
) -> Any:
    return field.get_db_prep_save(to_python(value), here)


def _as_it_is(value: Any) -> Any:
    return value


def differences(columns: Sequence[str], other: Sequence[str]) -> str:
    """What one list of columns has and the other not, as words."""
    return ", ".join(sorted(set(columns) ^ set(other))) or "their order"
