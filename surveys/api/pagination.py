"""Lists by cursor: a page costs the same wherever it is, and rows added meanwhile shift nothing."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.views import APIView


class Pages(CursorPagination):
    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 500

    def get_ordering(self, request: Request, queryset: QuerySet[Any], view: APIView) -> tuple[str, ...]:
        """The order the view's own filters settled, with the key last so that it is total."""
        ordering = tuple(str(name) for name in queryset.query.order_by or queryset.model._meta.ordering)
        return ordering if "id" in {name.lstrip("-") for name in ordering} else (*ordering, "id")
