"""The site of the Django admin, closed to users who must enrol a second factor first."""

from __future__ import annotations

from django.contrib.admin import AdminSite
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from surveys.models import User
from surveys.services.people.sign_in import second_factor_enrolment_required


class AdminPages(AdminSite):
    site_title = site_header = _("Flow Surveys administration")
    index_title = _("Records")

    def has_permission(self, request: HttpRequest) -> bool:
        user = request.user
        return (
            super().has_permission(request)
            and isinstance(user, User)
            and not second_factor_enrolment_required(user)
        )
