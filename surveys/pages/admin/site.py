"""The site of the stock admin: not open to somebody who has yet to enrol a second factor."""

from __future__ import annotations

from django.contrib.admin import AdminSite
from django.http import HttpRequest

from surveys.models import User
from surveys.services.people.sign_in import second_factor_enrolment_required


class AdminPages(AdminSite):
    def has_permission(self, request: HttpRequest) -> bool:
        user = request.user
        return (
            super().has_permission(request)
            and isinstance(user, User)
            and not second_factor_enrolment_required(user)
        )
