"""The frame of every page: access by role, navigation, and the user's choice of units."""

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
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from compute.base.units import System
from surveys.models import Role, User
from surveys.models.role import FLEET, OFFICE
from surveys.services.people.sign_in import second_factor_enrolment_required

UNITS_KEY = "units"
EVERYBODY = frozenset(Role.values)
View = Callable[..., HttpResponse]


@dataclass(frozen=True, slots=True)
class Entry:
    """A page of the navigation, and the roles that see it there."""

    route: str
    label: str | Promise
    roles: frozenset[str] = EVERYBODY


# In order; the first entry of a role is its start page.
NAVIGATION = (
    Entry("field-today", _("Today"), frozenset({Role.TECHNICIAN})),
    Entry("office-board", _("Jobs"), OFFICE),
    Entry("office-review", _("Survey review"), OFFICE),
    Entry("fleet-due", _("Due dates"), FLEET),
    Entry("fleet-out-of-tolerance-reviews", _("Out of tolerance"), FLEET),
    Entry("portal-sites", _("Sites")),
    Entry("portal-notices", _("Notices"), frozenset({Role.CLIENT}) | Role.office_roles()),
    Entry("docs", _("API")),
)


def entries_of(user: User) -> list[Entry]:
    """The navigation entries of a user."""
    return [entry for entry in NAVIGATION if user.role in entry.roles]


def framed_for(roles: frozenset[str]) -> Callable[[View], Callable[..., HttpResponseBase]]:
    """Limit a page to signed-in users of some roles, with a second factor where required; 404 for other roles."""

    def framing(view: View) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def judged(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            user = cast(User, request.user)
            if user.role not in roles:
                raise Http404
            # Not possible to type, and PostgreSQL does not store it.
            if any(
                "\0" in text
                for sent in (request.GET, request.POST)
                for _, all_of in sent.lists()
                for text in all_of
            ):
                raise BadRequest("NUL character in a form")
            if second_factor_enrolment_required(user):
                return redirect("second-factor")
            return view(request, *args, **kwargs)

        pages = login_required(judged)

        @wraps(view)
        def signed_in(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            # A fragment of a page must not be replaced by the sign-in page.
            if "HX-Request" in request.headers and not request.user.is_authenticated:
                return HttpResponse(status=401)
            return pages(request, *args, **kwargs)

        return signed_in

    return framing


framed = framed_for(EVERYBODY)


def units_of(request: HttpRequest) -> System:
    """The units in the address, else those chosen in the session; metric by default."""
    requested = request.GET.get("units") or request.session.get(UNITS_KEY)
    return "us" if requested == "us" else "metric"


def page(request: HttpRequest, template: str, context: dict[str, Any], status: int = 200) -> HttpResponse:
    """Render a page within the frame; without navigation for visitors who are not signed in."""
    entries = entries_of(request.user) if request.user.is_authenticated else []
    addresses = [(reverse(entry.route), entry.label) for entry in entries]
    around = {
        "units": units_of(request),
        "navigation": [
            {"address": address, "label": label, "here": request.path.startswith(address)}
            for address, label in addresses
        ],
    }
    return render(request, template, around | context, status=status)
