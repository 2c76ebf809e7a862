"""Who gets these pages: who looks after the fleet's calibrations; 404 for the rest."""

from __future__ import annotations

from typing import Any, cast

from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from surveys.models import Record, User
from surveys.pages.frame import FLEET, framed_for

fleet_page = framed_for(FLEET)
"""A page for those who look after the fleet, signed in with all that is asked of them."""


def visible(request: HttpRequest, model: type[Record], pk: Any, *related: str) -> Any:
    """A record its user may see, with those it is shown with."""
    return get_object_or_404(model.objects.visible_to(request.user).select_related(*related), pk=pk)


def user_of(request: HttpRequest) -> User:
    """Who asks; they are signed in."""
    return cast(User, request.user)
