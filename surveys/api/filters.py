"""Filtering and sorting by the fields a view names; any other parameter of a query is rejected, not ignored."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, ClassVar

from django.db import models
from django.db.models import QuerySet
from django_filters import rest_framework as django_filters
from rest_framework.exceptions import ValidationError
from rest_framework.filters import OrderingFilter
from rest_framework.request import Request
from rest_framework.views import APIView

from compute.base.messages import message
from surveys.core.messages import model_error
from surveys.inputs.rejections import error_detail, rejection

LIST_PARAMETERS = frozenset({"units", "ordering", "cursor", "page_size", "format"})


class TimestampField(django_filters.filters.IsoDateTimeFilter.field_class):
    """A time that still is one in UTC: at the ends of the calendar some are not."""

    def clean(self, value: Any) -> datetime | None:
        instant: datetime | None = super().clean(value)
        try:
            return instant and instant.astimezone(UTC)
        except OverflowError:
            raise model_error("out-of-range/calendar") from None


class InstantFilter(django_filters.IsoDateTimeFilter):
    field_class = TimestampField


class RecordFilter(django_filters.UUIDFilter):
    """Rows of a record, in any of some fields, by its id alone: a look-up would tell of one that is not to be seen."""

    def __init__(self, field_name: str | None = None, *further: str, **options: Any) -> None:
        super().__init__(field_name, **options)
        self.further = further

    def filter(self, qs: QuerySet[Any], value: Any) -> QuerySet[Any]:
        """The rows that name the record."""
        if not value or not self.further:
            return super().filter(qs, value)
        found = models.Q(**{str(self.field_name): value})
        for name in self.further:
            found |= models.Q(**{name: value})
        return qs.filter(found)


class FilterSet(django_filters.FilterSet):
    FILTER_DEFAULTS = {
        **django_filters.FilterSet.FILTER_DEFAULTS,
        models.DateTimeField: {"filter_class": InstantFilter},
        models.ForeignKey: {"filter_class": RecordFilter},
        models.OneToOneField: {"filter_class": RecordFilter},
    }

    def __init__(self, data: Any = None, *args: Any, **options: Any) -> None:
        # A filter set copies its filters, which costs more than to filter: those asked for will do.
        every: dict[str, Any] = type(self).__dict__["base_filters"]
        self.base_filters = {name: one for name, one in every.items() if name in (data or ())}
        super().__init__(data, *args, **options)


class SearchFilter(django_filters.CharFilter):
    """Rows with a text in any of some fields, in whatever case."""

    def __init__(self, *fields: str) -> None:
        self.fields = fields
        texts = " or ".join(name.replace("_", " ") for name in fields)
        super().__init__(fields[0], label=f"Text contained in the {texts}, in any case.")

    def filter(self, qs: QuerySet[Any], value: str) -> QuerySet[Any]:
        """The rows that contain the text."""
        if not value:
            return qs
        found = models.Q()
        for name in self.fields:
            found |= models.Q(**{f"{name}__icontains": value})
        return qs.filter(found)


class SetFilter(django_filters.BooleanFilter):
    """Rows in which a field is set (`true`) or empty (`false`)."""

    def __init__(self, field_name: str, label: str = "") -> None:
        super().__init__(field_name, "isnull", exclude=True, label=label)


def period(field_name: str) -> dict[str, InstantFilter]:
    """`from` and `to`: rows with a time from the one up to the other, both included."""
    return {
        "from": InstantFilter(field_name, "gte", label="At this time or later."),
        "to": InstantFilter(field_name, "lte", label="At this time or earlier."),
    }


def filters(of: type[models.Model], *fields: str, **others: django_filters.Filter) -> type[FilterSet]:
    """The filters of a list by their public names: fields under their own name, and others that say where they look."""
    meta = type("Meta", (), {"model": of, "fields": list(fields)})
    return type(f"{of.__name__}Filters", (FilterSet,), {**others, "Meta": meta})


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
        known = LIST_PARAMETERS | set(filterset.base_filters if filterset else ())
        unknown = sorted(set(request.query_params) - known) if view.action == "list" else []
        if unknown:
            raise ValidationError(
                {
                    name[:60]: error_detail(message("unknown-filter", name=name[:60], known=sorted(known)))
                    for name in unknown[:20]
                }
            )
        if LIST_PARAMETERS.issuperset(request.query_params):
            return queryset
        return super().filter_queryset(request, queryset, view)


class Ordering(OrderingFilter):
    """`?ordering=name` or `-name`; a field that is not offered is rejected, not ignored."""

    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: APIView) -> QuerySet[Any]:
        requested = [
            name.strip()
            for name in request.query_params.get(self.ordering_param, "").split(",")
            if name.strip()
        ]
        offered = set(getattr(view, "ordering_fields", ()))
        for name in requested:
            if name.removeprefix("-") not in offered:
                raise rejection(
                    "ordering-unknown", field="ordering", name=name[:40], known=sorted(offered) or None
                )
        return queryset.order_by(*requested, "id") if requested else queryset
