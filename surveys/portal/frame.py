"""What every page has around it: who may see it, the navigation of their role, and figures in the units they chose."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any, cast

from django.contrib.auth.decorators import login_required
from django.core.exceptions import BadRequest
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse

from compute.units import System
from surveys.models import Role, User
from surveys.services.sign_in import second_factor_enrolment_required

UNITS_KEY = "units"
EVERYBODY = frozenset(Role.values)
FLEET = frozenset({Role.CALIBRATION_ADMIN, Role.ADMINISTRATOR})
OFFICE = frozenset({Role.OFFICE, Role.ADMINISTRATOR})
View = Callable[..., HttpResponse]


@dataclass(frozen=True, slots=True)
class Entry:
    """A page the navigation names, and the roles it is named to."""

    route: str
    label: str
    roles: frozenset[str] = EVERYBODY


# In order; the first one a role has is where it starts.
NAVIGATION = (
    Entry("field-today", "Today", frozenset({Role.TECHNICIAN})),
    Entry("office-board", "Jobs", OFFICE),
    Entry("office-review", "To review", OFFICE),
    Entry("fleet-due", "Due dates", FLEET),
    Entry("fleet-doubts", "Out of tolerance", FLEET),
    Entry("portal-sites", "Sites"),
    Entry("portal-notices", "Notices", frozenset({Role.CLIENT}) | Role.office_roles()),
    Entry("docs", "API"),
)


def entries_of(user: User) -> list[Entry]:
    """What the navigation names to a user."""
    return [entry for entry in NAVIGATION if user.role in entry.roles]


def framed_for(roles: frozenset[str]) -> Callable[[View], Callable[..., HttpResponseBase]]:
    """A page for those of some roles, signed in with all that is asked of them; to the others it is not there."""

    def framing(view: View) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def judged(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            user = cast(User, request.user)
            if user.role not in roles:
                raise Http404
            # No person types one, and PostgreSQL has no text with it.
            if any(
                "\0" in text
                for sent in (request.GET, request.POST)
                for _, all_of in sent.lists()
                for text in all_of
            ):
                raise BadRequest("a NUL in a form")
            if second_factor_enrolment_required(user):
                return redirect("second-factor")
            return view(request, *args, **kwargs)

        pages = login_required(judged)

        @wraps(view)
        def signed_in(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            # A part of a page is not to be replaced by the page to sign in.
            if "HX-Request" in request.headers and not request.user.is_authenticated:
                return HttpResponse(status=401)
            return pages(request, *args, **kwargs)

        return signed_in

    return framing


framed = framed_for(EVERYBODY)


def units_of(request: HttpRequest) -> System:
    """What the address asks for, else what the user chose in this session; metric before they did."""
    asked = request.GET.get("units") or request.session.get(UNITS_KEY)
    return "us" if asked == "us" else "metric"


def page(request: HttpRequest, template: str, context: dict[str, Any], status: int = 200) -> HttpResponse:
    """A page within the frame."""
    addresses = [(reverse(entry.route), entry.label) for entry in entries_of(cast(User, request.user))]
    around = {
        "units": units_of(request),
        "navigation": [
            {"address": address, "label": label, "here": request.path.startswith(address)}
            for address, label in addresses
        ],
    }
    return render(request, template, around | context, status=status)
