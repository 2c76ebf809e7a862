"""Who may do what, by role. What one may see is decided by `visible_to`, not here."""

from __future__ import annotations

from typing import Any

from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from surveys.models import Role

OFFICE = frozenset({Role.OFFICE, Role.ADMINISTRATOR})
FIELD = OFFICE | {Role.TECHNICIAN}
FLEET = frozenset({Role.CALIBRATION_ADMIN, Role.ADMINISTRATOR})


class SignedIn(BasePermission):
    """Anybody signed in; writing only by the view's `writers`."""

    message = "Your role does not allow this; ask the office."

    def has_permission(self, request: Request, view: Any) -> bool:
        if not request.user.is_authenticated:
            return False
        if request.method in SAFE_METHODS or getattr(view, "writers", None) is None:
            return True
        return request.user.role in view.writers
