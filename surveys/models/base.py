"""Base of all records: id, visibility and names of numbers.

A stored number is SI and its column ends in the unit (`wall_thickness_m`); `as_entered` holds the entered text, by its path in
the request (`pipe.wall_thickness`).
"""

from __future__ import annotations

import os
import time
import uuid
from typing import TYPE_CHECKING, Any, ClassVar, Self

from django.apps import apps
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from surveys.models.role import Role

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser

    from surveys.models.user import User


def uuid7() -> uuid.UUID:
    """Return a time-ordered id (RFC 9562, version 7): 48 bits of milliseconds, then random bits."""
    value = (time.time_ns() // 1_000_000) << 80 | int.from_bytes(os.urandom(10))
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return uuid.UUID(int=value)


class VisibleQuerySet(models.QuerySet[Any]):
    """Rows with the one rule of visibility. Without a rule that grants access, no rows are visible."""

    def visible_to(self, user: User | AnonymousUser) -> Self:
        """Return the rows that a user may see: staff all, technicians their own jobs and the records of those sites, clients
        their own.
        """
        if not user.is_authenticated or not user.is_active:
            return self.none()
        if user.role in Role.office_roles():
            return self
        if user.role == Role.TECHNICIAN:
            return self._of_technician(user)
        if user.role == Role.CLIENT and self.model.CLIENT_PATH:
            return self.filter(**{self.model.CLIENT_PATH: user.client_id})
        return self.none()

    def _of_technician(self, user: User) -> Self:
        if self.model.JOB_PATH:
            return self.filter(**{f"{self.model.JOB_PATH}__in": own_jobs(user)})
        if self.model.SITE_PATH:
            return self.filter(**{f"{self.model.SITE_PATH}__in": own_jobs(user).values("site")})
        return self


def own_jobs(technician: User) -> VisibleQuerySet:
    """Return the jobs assigned to a technician, or that the technician is booked for."""
    jobs: VisibleQuerySet = apps.get_model("surveys", "Job")._default_manager.all()
    booked = Q(bookings__technician=technician, bookings__cancelled_at__isnull=True)
    return jobs.filter(Q(technician=technician) | booked).distinct()


class Record(models.Model):
    """Row with a UUIDv7 key. `CLIENT_PATH` leads to the client that owns it, `SITE_PATH` to its site, `JOB_PATH` to its job.

    Without `CLIENT_PATH` clients see no rows. Without `SITE_PATH` and `JOB_PATH` technicians see all rows.
    """

    CLIENT_PATH: ClassVar[str | None] = None
    SITE_PATH: ClassVar[str | None] = None
    JOB_PATH: ClassVar[str | None] = None

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)

    objects = VisibleQuerySet.as_manager()

    class Meta:
        abstract = True


def as_entered_field() -> models.JSONField[Any, Any]:
    """Return the column of entered texts by path of the request."""
    return models.JSONField(_("entered texts"), default=dict, blank=True)
