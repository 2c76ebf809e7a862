"""Filtering and sorting by the fields a view names; whatever else a query asks is refused, not ignored."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, ClassVar

from django import forms
from django.db import models
from django.db.models import QuerySet
from django_filters import rest_framework as django_filters
from rest_framework.exceptions import ValidationError
from rest_framework.filters import OrderingFilter
from rest_framework.request import Request
from rest_framework.views import APIView

OF_EVERY_LIST = frozenset({"units", "ordering", "cursor", "page_size", "format"})


class InstantField(django_filters.filters.IsoDateTimeFilter.field_class):
    """A time that still is one in UTC: at the ends of the calendar some are not."""

    def clean(self, value: Any) -> datetime | None:
        instant: datetime | None = super().clean(value)
        try:
            return instant and instant.astimezone(UTC)
        except OverflowError:
            raise forms.ValidationError("This time is outside the calendar.", code="out-of-range") from None


class InstantFilter(django_filters.IsoDateTimeFilter):
    field_class = InstantField


class FilterSet(django_filters.FilterSet):
    FILTER_DEFAULTS = {
        **django_filters.FilterSet.FILTER_DEFAULTS,
        models.DateTimeField: {"filter_class": InstantFilter},
        # By id alone: to look whether there is such a record would tell of one that is not to be seen.
        models.ForeignKey: {"filter_class": django_filters.UUIDFilter},
        models.OneToOneField: {"filter_class": django_filters.UUIDFilter},
    }

    def __init__(self, data: Any = None, *args: Any, **options: Any) -> None:
        # A filter set copies its filters, which costs more than to filter: those asked for will do.
        every: dict[str, Any] = type(self).__dict__["base_filters"]
        self.base_filters = {name: one for name, one in every.items() if name in (data or ())}
        super().__init__(data, *args, **options)


class Filters(django_filters.DjangoFilterBackend):
    """`?name=value` by the filters a view declares. A misspelt one would otherwise answer with everything."""

    filterset_base = FilterSet
    # Made once for each action of a view: that costs more than to filter by it.
    made: ClassVar[dict[tuple[type, str | None], Any]] = {}

    def get_filterset_class(self, view: Any, queryset: QuerySet[Any] | None = None) -> Any:
        if queryset is None:
            return super().get_filterset_class(view)
        of = type(view), getattr(view, "action", None)
        if of not in self.made:
            self.made[of] = super().get_filterset_class(view, queryset)
        return self.made[of]

    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: Any) -> QuerySet[Any]:
        filterset = self.get_filterset_class(view, queryset)
        known = OF_EVERY_LIST | set(filterset.base_filters if filterset else ())
        unknown = sorted(set(request.query_params) - known) if view.action == "list" else []
        if unknown:
            raise ValidationError(
                {
                    name[:60]: f"This list has no such filter; it has {', '.join(sorted(known))}."
                    for name in unknown[:20]
                },
                code="unknown-filter",
            )
        if OF_EVERY_LIST.issuperset(request.query_params):
            return queryset
        return super().filter_queryset(request, queryset, view)


class Ordering(OrderingFilter):
    """`?ordering=name` or `-name`; a field not offered is refused, not ignored."""

    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: APIView) -> QuerySet[Any]:
        asked = [
            name.strip()
            for name in request.query_params.get(self.ordering_param, "").split(",")
            if name.strip()
        ]
        offered = set(getattr(view, "ordering_fields", ()))
        for name in asked:
            if name.removeprefix("-") not in offered:
                raise ValidationError(
                    {
                        "ordering": f"Cannot sort by {name[:40]!r}; sort by {', '.join(sorted(offered)) or 'nothing else'}."
                    },
                    code="ordering-unknown",
                )
        return queryset.order_by(*asked, "id") if asked else queryset
