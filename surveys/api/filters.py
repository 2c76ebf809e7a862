"""Sorting by the fields a view names, and no others."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from rest_framework.exceptions import ValidationError
from rest_framework.filters import OrderingFilter
from rest_framework.request import Request
from rest_framework.views import APIView


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
            if name.lstrip("-") not in offered:
                raise ValidationError(
                    {
                        "ordering": f"Cannot sort by {name[:40]!r}; sort by {', '.join(sorted(offered)) or 'nothing else'}."
                    },
                    code="ordering-unknown",
                )
        return queryset.order_by(*asked, "id") if asked else queryset
