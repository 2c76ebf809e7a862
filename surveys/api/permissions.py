"""Who may do what, by role and by the token's scope. What one may see is decided by `visible_to`, not here."""

from __future__ import annotations

from typing import Any

from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from compute.base.messages import message
from surveys.inputs.rejections import error_detail
from surveys.models import ApiToken, Role, Scope
from surveys.services.people.sign_in import second_factor_enrolment_required

COMPUTATIONS = "api/v1/compute/"


class SignedIn(BasePermission):
    """Anybody signed in, as far as their token goes; writing only by the view's `writers`.

    A view that says `of_oneself` is about signing in itself: open before a second factor is enrolled.
    """

    def has_permission(self, request: Request, view: Any) -> bool:
        if not request.user.is_authenticated:
            return False
        if not scope_allows(request, view):
            self.message = error_detail(message("scope-too-narrow"))
            return False
        if not getattr(view, "of_oneself", False) and second_factor_enrolment_required(request.user):
            self.message = error_detail(message("second-factor-needed"))
            return False
        if request.method in SAFE_METHODS or getattr(view, "writers", None) is None:
            return True
        if request.user.role in view.writers:
            return True
        roles = sorted(str(Role(role).label) for role in view.writers)
        self.message = error_detail(message("permission-denied/role", roles=roles))
        return False


def scope_allows(request: Request, view: Any) -> bool:
    """Whether the scope of the request's token covers this call; a session covers all.

    A token of any scope may end itself. A computation is no write, but a token to read records is not one to compute.
    """
    token = request.auth
    if not isinstance(token, ApiToken) or token.scope == Scope.WRITE or getattr(view, "ends_itself", False):
        return True
    match = request.resolver_match
    if match is not None and match.route.startswith(COMPUTATIONS):
        return token.scope != Scope.READ or request.method in SAFE_METHODS
    if token.scope == Scope.COMPUTE:
        return False
    if request.method in SAFE_METHODS:
        return True
    return token.scope == Scope.FIELD and Role.TECHNICIAN in (getattr(view, "writers", None) or ())
