"""Tables of a backup, and conversion of their rows to JSON values and back."""

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

# Not restored: sessions and lockouts are of no use elsewhere. The applied migrations belong to each database and must
# agree.
LEFT_OUT = {
    "django_session": "sessions; people sign in again",
    "axes_accessattempt": "failures to sign in; nobody is locked",
    "axes_accessattemptexpiration": "failures to sign in; nobody is locked",
    "axes_accessfailurelog": "failures to sign in; nobody is locked",
    "axes_accesslog": "failures to sign in; nobody is locked",
}
# Tables in which migrations create rows; the rows of the file replace them.
FILLED_BY_MIGRATION = frozenset({"django_content_type", "auth_permission"})

_TEXTS = (UUID, datetime, date, time, Decimal)


class Table:
    """A table of the models: its columns, and the conversion of their values."""

    def __init__(self, model: type[Model]) -> None:
        self.model = model
        self.name = model._meta.db_table
        self.fields: list[Field[Any, Any]] = list(model._meta.concrete_fields)
        self.columns = [str(field.column) for field in self.fields]
        self.binary = [n for n, field in enumerate(self.fields) if isinstance(field, BinaryField)]

    def rows(self) -> Iterator[list[Any]]:
        """Yield all rows in the order of their keys, as JSON values and bytes. Only a few are in memory at a time."""
        at_once = 8 if self.binary else 500
        names = [field.attname for field in self.fields]
        found = self.model._base_manager.order_by("pk").values_list(*names)
        for row in found.iterator(chunk_size=at_once):
            yield [_given(value) for value in row]

    def stored(self) -> list[Callable[[Any], Any]]:
        """Return, for each column, the function that converts a JSON value to a value of this database."""
        # The connection itself: its proxy would look it up at every use, millions of times here.
        here = connections[connection.alias]
        return [_taken(field, here) for field in self.fields]

    def count(self) -> int:
        """Return the number of rows of the table."""
        return self.model._base_manager.count()


def tables() -> list[Table]:
    """Return the tables of a backup, including many-to-many tables."""
    models = apps.get_models(include_auto_created=True)
    found = [Table(m) for m in models if m._meta.managed and not m._meta.proxy and not m._meta.swapped]
    return [table for table in found if table.name not in LEFT_OUT]


def migrations() -> list[str]:
    """Return the migrations applied to the database."""
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
    """Describe the differences between two lists of columns."""
    return ", ".join(sorted(set(columns) ^ set(other))) or "their order"
