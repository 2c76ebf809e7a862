"""Records shown straight from their columns: one query for a page of them and one for each relation of many, no objects made.

An output serializer that is a `RowSerializer` says what is shown, here as in the schema; each of its fields tells which columns it
reads, and turns a column of a page into what the answer has. The SQL is made once (`surveys.prepared`). Which rows somebody may see
is not asked here: what is shown are rows whose keys the caller has found.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from copy import deepcopy
from functools import cache, cached_property
from typing import Any, ClassVar, cast
from uuid import UUID

import orjson
from django.db import connection, models
from django.db.models import FilteredRelation, QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from compute.units import System
from surveys.api.fields import QuantityField, put_in_units, shown_quantity
from surveys.api.rendering import Finite, finite
from surveys.prepared import Given, Prepared

Column = Sequence[Any]
Show = Callable[["Page"], Column]
# For `...__id__in=KEYS`: the keys of the rows that a page shows.
KEYS: Any = [Given("keys", models.UUIDField(), many=True)]


class RowSerializer(serializers.ModelSerializer):
    """An output whose every field is read from columns. `joined`: names in sources for the one row of many that a condition leaves."""

    joined: ClassVar[dict[str, FilteredRelation]] = {}


class DocumentField(serializers.Field):
    """A column of JSON, each SI number in it shown in the units asked for."""

    def __init__(self, **options: Any) -> None:
        super().__init__(read_only=True, **options)


class Beside(serializers.Field):
    """What is read for all rows of a page at once: by default the values of a query of (key, value) pairs, for each key a list.

    `of` is the source of the key.
    """

    def __init__(self, query: Callable[[], QuerySet[Any, Any]], of: str = "id", **options: Any) -> None:
        self.query, self.of = Prepared(query), of
        super().__init__(read_only=True, **options)

    def column(self, page: Page, prefix: str) -> Column:
        keys = page.raw(prefix + self.of)
        found: dict[Any, list[Any]] = {}
        show = _shown_as(self.query.fields()[1])
        for key, value in self.query.raw(keys=keys) if keys else ():
            found.setdefault(key, []).append(show(value))
        return [found.get(key, []) for key in keys]


@extend_schema_field(serializers.ListField(child=serializers.UUIDField()))
class IdsField(Beside):
    """The ids of the records in a relation of many."""


def from_columns(*sources: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """A `get_...` of a `SerializerMethodField` that takes these columns of a row."""

    def marked(method: Callable[..., Any]) -> Callable[..., Any]:
        method.sources = sources  # type: ignore[attr-defined]
        return method

    return marked


def rows_shown(
    serializer_class: type[RowSerializer], keys: Iterable[Any], units: System
) -> list[dict[str, Any]]:
    """The rows of these keys (as records have them, or as the driver gives them) in this order; none for a key that is not there."""
    return Finite(_reader(serializer_class)(list(keys), units))


class Page:
    """The columns of some rows by their sources: raw, and as an answer has them."""

    def __init__(self, columns: Mapping[str, Column], shown_as: dict[str, Any], units: System) -> None:
        self.columns, self.shown_as, self.units = columns, shown_as, units
        self._shown: dict[str, Column] = {}

    def raw(self, source: str) -> Column:
        return self.columns[source]

    def __getitem__(self, source: str) -> Column:
        if source not in self._shown:
            show = self.shown_as[source]
            self._shown[source] = [None if value is None else show(value) for value in self.columns[source]]
        return self._shown[source]


class _Reader:
    """How the rows of a serializer are read and shown."""

    def __init__(self, serializer_class: type[RowSerializer]) -> None:
        serializer = serializer_class()
        self.model: type[models.Model] = serializer_class.Meta.model
        self.joined = serializer_class.joined
        # The key comes first: rows are put in the order of the keys by it.
        self.sources = ["id"]
        self.shows = self._shows(serializer, "")
        self.rows = Prepared(self._query)

    @cached_property
    def shown_as(self) -> dict[str, Any]:
        return dict(zip(self.sources, map(_shown_as, self.rows.fields()), strict=True))

    def __call__(self, keys: list[Any], units: System) -> list[dict[str, Any]]:
        if not keys:
            return []
        keys = [_sent(key) for key in keys]
        found = {row[0]: row for row in self.rows.raw(keys=keys)}
        rows = [found[key] for key in keys if key in found]
        if not rows:
            return []
        columns = dict(zip(self.sources, zip(*rows, strict=True), strict=True))
        return _documents(self.shows, Page(columns, self.shown_as, units))

    def _query(self) -> QuerySet[Any, Any]:
        # Copies: a queryset writes into what it is annotated with.
        joined = deepcopy(self.joined)
        rows = self.model._default_manager.annotate(**joined).filter(id__in=KEYS).order_by()
        return rows.values_list(*(source.replace(".", "__") for source in self.sources))

    def _shows(self, serializer: Any, prefix: str) -> dict[str, Show]:
        return {name: self._show(field, prefix) for name, field in serializer.fields.items()}

    def _reads(self, source: str) -> str:
        if source not in self.sources:
            self.sources.append(source)
        return source

    def _show(self, field: Any, prefix: str) -> Show:
        """How a field of the serializer is shown, noting what it reads."""
        if isinstance(field, serializers.SerializerMethodField):
            method = getattr(field.parent, field.method_name)
            return _worked_out(method, [self._reads(prefix + source) for source in method.sources])
        if isinstance(field, Beside):
            self._reads(prefix + field.of)
            return lambda page: field.column(page, prefix)
        source = prefix + _source(field)
        if isinstance(field, serializers.Serializer):
            key = self._reads(f"{source}.id")
            return _nested(self._shows(field, f"{source}."), key)
        self._reads(source)
        if isinstance(field, QuantityField):
            return lambda page: [
                None if si is None else shown_quantity(si, field.kind, page.units) for si in page.raw(source)
            ]
        if isinstance(field, DocumentField):
            return lambda page: [
                text and put_in_units(orjson.loads(text), page.units) for text in page.raw(source)
            ]
        if isinstance(field, serializers.ListSerializer):
            return _parts(list(cast(Any, field.child).fields), source)
        if type(field) not in AS_THEY_ARE:
            raise TypeError(f"{field.field_name} of {type(field.parent).__name__} reads no column.")
        return lambda page: page[source]


# Fields that show what a column holds.
AS_THEY_ARE = {
    serializers.BigIntegerField,
    serializers.BooleanField,
    serializers.CharField,
    serializers.ChoiceField,
    serializers.DateField,
    serializers.DateTimeField,
    serializers.FloatField,
    serializers.IntegerField,
    serializers.PrimaryKeyRelatedField,
    serializers.UUIDField,
}


@cache
def _reader(serializer_class: type[RowSerializer]) -> _Reader:
    return _Reader(serializer_class)


def _documents(shows: dict[str, Show], page: Page) -> list[dict[str, Any]]:
    columns = [show(page) for show in shows.values()]
    return [dict(zip(shows, values, strict=True)) for values in zip(*columns, strict=True)]


def _worked_out(method: Callable[..., Any], sources: list[str]) -> Show:
    return lambda page: [
        method(*values) for values in zip(*(page[source] for source in sources), strict=True)
    ]


def _nested(shows: dict[str, Show], key: str) -> Show:
    def shown(page: Page) -> Column:
        there = zip(page.raw(key), _documents(shows, page), strict=True)
        return [None if key is None else document for key, document in there]

    return shown


def _parts(names: list[str], source: str) -> Show:
    """Of a list in a column of JSON the parts that the serializer of its items names."""
    return lambda page: [[{name: one[name] for name in names} for one in items] for items in page[source]]


def _source(field: Any) -> str:
    return (
        f"{field.source}.pk" if isinstance(field, serializers.PrimaryKeyRelatedField) else str(field.source)
    )


def _sent(key: Any) -> Any:
    """A key as the driver takes it."""
    return models.UUIDField().get_db_prep_value(key, connection) if isinstance(key, UUID) else key


def _shown_as(field: Any) -> Callable[[Any], Any]:
    """What turns a value of a column, as the driver gives it, into what an answer has."""
    field = getattr(field, "target_field", field)
    if isinstance(field, models.UUIDField):
        return str if connection.features.has_native_uuid_field else _hyphenated
    if isinstance(field, models.DateTimeField):
        return _instant
    if isinstance(field, models.JSONField):
        return cast("Callable[[Any], Any]", orjson.loads)
    if isinstance(field, models.DateField):
        return str
    if isinstance(field, models.FloatField):
        return finite
    return _as_it_is


def _hyphenated(hexes: str) -> str:
    return f"{hexes[:8]}-{hexes[8:12]}-{hexes[12:16]}-{hexes[16:20]}-{hexes[20:]}"


def _instant(moment: Any) -> str:
    """UTC, which is what is stored: with its zone or, on SQLite, without."""
    return f"{moment.isoformat().removesuffix('+00:00')}Z"


def _as_it_is(value: Any) -> Any:
    return value
