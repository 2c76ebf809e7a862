"""Queries whose SQL is made once: of a short one that is most of the cost."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import chain
from typing import Any, cast

from django.db import DEFAULT_DB_ALIAS, connection, connections
from django.db.models import Field, QuerySet, Value
from django.db.models.sql.compiler import SQLCompiler

Build = Callable[[], QuerySet[Any, Any]]


class Given(Value):
    """A value that each asking gives anew, by name.

    `many`, in `id__in=[Given("ids", UUIDField(), many=True)]`: one or more, each as the driver takes it (`Prepared.raw` gives it so).
    """

    def __init__(self, name: str, field: Field[Any, Any], many: bool = False) -> None:
        super().__init__(name, output_field=field)
        self.name, self.many = name, many

    def as_sql(self, compiler: Any, connection: Any) -> Any:
        return (f"<{self.name}>" if self.many else "%s"), [self]

    as_sqlite = as_postgresql = as_sql  # type: ignore[assignment]

    def sent(self, value: Any) -> Any:
        """The value as the database driver takes it."""
        return self.output_field.get_db_prep_value(value, connection)


class Prepared:
    """A query with values left open: `Prepared(lambda: Model.objects.filter(name=Given("name", CharField())))`.

    Its SQL is made at the first asking over each connection and kept as long as that. Rows are neither kept nor shared.
    """

    def __init__(self, build: Build) -> None:
        self.build = build

    def __call__(self, **given: Any) -> list[Any]:
        """The rows, as the queryset would have them."""
        known = self._known()
        rows = known.asked(given)
        return known.made(rows) if rows else []

    def raw(self, **given: Any) -> list[tuple[Any, ...]]:
        """The rows as they came from the driver, before Django makes anything of their columns."""
        return self._known().asked(given)

    def fields(self) -> list[Field[Any, Any]]:
        """What each column of `raw` is."""
        return [column.output_field for column, _, _ in self._known().compiler.select]

    def _known(self) -> _Known:
        # Of this thread: `connection` itself stands for those of all.
        kept: dict[Prepared, _Known] = connections[DEFAULT_DB_ALIAS].__dict__.setdefault("prepared", {})
        if self not in kept:
            kept[self] = _Known(self.build())
        return kept[self]


class Raw:
    """The rows of a queryset of values as they come from the driver, and each of them, where it is needed, as Django has it."""

    def __init__(self, queryset: QuerySet[Any, Any]) -> None:
        self._compiler = queryset.query.get_compiler(connection=connection)
        self.rows = raw_rows(self._compiler)

    def converted(self, row: Sequence[Any]) -> tuple[Any, ...]:
        compiler: Any = self._compiler
        converters = compiler.get_converters([column for column, _, _ in compiler.select])
        return tuple(next(compiler.apply_converters([row], converters)))


def raw_rows(compiler: SQLCompiler) -> list[tuple[Any, ...]]:
    """What a query gives, before Django makes anything of its columns."""
    chunks = cast("Iterable[list[tuple[Any, ...]]]", compiler.execute_sql())
    return list(chain.from_iterable(chunks))


class _Known:
    """A queryset whose compiler knows its SQL, and which makes records of rows that were asked for by that."""

    def __init__(self, queryset: QuerySet[Any, Any]) -> None:
        compiler: Any = queryset.query.get_compiler(connection=connection)
        sql, params = compiler.as_sql()
        converters = compiler.get_converters([column for column, _, _ in compiler.select])
        compiler.get_converters = lambda _: converters
        queryset.query.get_compiler = lambda *_, **__: compiler  # type: ignore[method-assign]
        self.queryset, self.compiler, self.sql, self.params = queryset, compiler, sql, params

    def asked(self, given: dict[str, Any]) -> list[tuple[Any, ...]]:
        with connection.cursor() as cursor:
            cursor.execute(*_filled_in(self.sql, self.params, given))
            return cursor.fetchall()

    def made(self, rows: list[tuple[Any, ...]]) -> list[Any]:
        self.compiler.execute_sql = lambda *_, **__: [rows]
        rows_made: Any = self.queryset._iterable_class(self.queryset)
        return list(rows_made)


def _filled_in(sql: str, params: Iterable[Any], given: dict[str, Any]) -> tuple[str, list[Any]]:
    sent: list[Any] = []
    for param in params:
        if not isinstance(param, Given):
            sent.append(param)
        elif param.many:
            sent += given[param.name]
            sql = sql.replace(f"<{param.name}>", ", ".join(["%s"] * len(given[param.name])), 1)
        else:
            sent.append(param.sent(given[param.name]))
    return sql, sent
