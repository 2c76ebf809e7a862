"""The start page of a user, and the choice of units."""

from __future__ import annotations

from typing import cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST, require_safe

from surveys.models import User
from surveys.pages.frame import UNITS_KEY, entries_of, framed


@framed
@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """Redirect to the start page of the user's role."""
    return redirect(entries_of(cast(User, request.user))[0].route)


@framed
@require_POST
def units(request: HttpRequest) -> HttpResponse:
    """Store the choice of units in the session and return to the page."""
    request.session[UNITS_KEY] = "us" if request.POST.get("units") == "us" else "metric"
    back = request.POST.get("next", "")
    safe = url_has_allowed_host_and_scheme(back, {request.get_host()}, require_https=request.is_secure())
    return redirect(back if safe else "home")
