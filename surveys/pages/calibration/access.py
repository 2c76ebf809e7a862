"""Access to these pages: calibration administrators and administrators; 404 for all others."""

from __future__ import annotations

from typing import Any, cast

from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from surveys.models import Record, User
from surveys.models.role import FLEET
from surveys.pages.frame import framed_for

fleet_page = framed_for(FLEET)
"""A page for calibration administrators, signed in with the second factor where required."""


def visible(request: HttpRequest, model: type[Record], pk: Any, *related: str) -> Any:
    """Return a record that the user may see, with its related records."""
    return get_object_or_404(model.objects.visible_to(request.user).select_related(*related), pk=pk)


def user_of(request: HttpRequest) -> User:
    """Return the signed-in user of a request."""
    return cast(User, request.user)
