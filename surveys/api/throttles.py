"""Views limited in how often one user or one address may call them: 429 with `Retry-After` beyond."""

from __future__ import annotations

from typing import Any, ClassVar

from rest_framework.views import APIView

from surveys.core.request_limits import limits_of


class ThrottledView(APIView):
    """A view, or an action of one, that says in `throttled_as` what kind of cost it is."""

    throttled_as: ClassVar[str | None] = None

    def get_throttles(self) -> list[Any]:
        return list(limits_of(self.throttled_as, self.request._request)) if self.throttled_as else []
