"""Floor of a response: a bare Django view and an empty DRF view, called in process like the service."""

from __future__ import annotations

import gc
import json
from collections.abc import Callable
from typing import Any

from django.core.handlers.wsgi import WSGIHandler
from django.http import HttpRequest, JsonResponse
from django.test import RequestFactory, override_settings
from django.urls import path
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView


def bare(request: HttpRequest) -> JsonResponse:
    return JsonResponse({"results": []})


class Empty(APIView):
    """View that reads JSON, returns JSON and does nothing else."""

    authentication_classes = ()
    permission_classes = ()

    def get(self, request: Request) -> Response:
        return Response({"results": []})

    def post(self, request: Request) -> Response:
        return Response({"results": [], "sent": len(request.data)})


urlpatterns = [path("bare/", bare), path("empty/", Empty.as_view())]
Ask = Callable[[], Any]


class InProcess:
    """Handler without a socket: the service with all its middleware, or one of the views above without any."""

    def __init__(self, service: bool) -> None:
        bare_settings = {} if service else {"MIDDLEWARE": [], "ROOT_URLCONF": __name__}
        self.settings = override_settings(**bare_settings)
        self.urls = None if service else __name__
        with self.settings:
            self.handler = WSGIHandler()
        # As `surveys.wsgi` does.
        gc.collect()
        gc.freeze()

    def get(self, address: str, **headers: str) -> Any:
        return self._answered(RequestFactory().get(address, **headers))  # type: ignore[arg-type]

    def post(self, address: str, body: Any, **headers: str) -> Any:
        request = RequestFactory().post(
            address,
            json.dumps(body),
            content_type="application/json",
            **headers,  # type: ignore[arg-type]
        )
        return self._answered(request)

    def _answered(self, request: Any) -> Any:
        if self.urls:
            request.urlconf = self.urls
        answer = self.handler.get_response(request)
        assert answer.status_code == 200, (answer.status_code, answer.content[:300])
        answer.close()
        return answer
