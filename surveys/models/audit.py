"""Audit log: user, action, record and time, with the values before and after."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NoReturn, Self

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models
from django.db.models import ProtectedError
from django.utils.translation import gettext_lazy as _

from surveys.models.base import Record, VisibleQuerySet
from surveys.models.role import Role
from surveys.models.user import User

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser

READERS = frozenset({Role.OFFICE, Role.ADMINISTRATOR})


class AuditQuerySet(VisibleQuerySet):
    """Audit entries: the office can read them, nobody can delete them."""

    def visible_to(self, user: User | AnonymousUser) -> Self:
        if not user.is_authenticated or not user.is_active or user.role not in READERS:
            return self.none()
        return self

    def delete(self) -> NoReturn:
        raise ProtectedError("Entries of the audit log cannot be deleted.", set())


class Action(models.TextChoices):
    CREATED = "created", _("created")
    CHANGED = "changed", _("changed")
    DELETED = "deleted", _("deleted")
    EXPORTED = "exported", _("exported")
    SIGNED_IN = "signed-in", _("signed in")
    SIGN_IN_FAILED = "sign-in-failed", _("sign-in failed")
    LOCKED_OUT = "locked-out", _("locked out")
    PASSWORD_CHANGED = "password-changed", _("password changed")
    SECOND_FACTOR_CHANGED = "second-factor-changed", _("second factor changed")
    DEACTIVATED = "deactivated", _("deactivated; personal data deleted")


class AuditEntry(Record):
    """One action. Users and records are named by id, without a foreign key: an entry outlives both.

    `actor_name` is the only column that changes: it is blanked with the other personal data of a user who leaves.
    """

    objects = AuditQuerySet.as_manager()  # type: ignore[misc]

    at = models.DateTimeField(_("time"))
    action = models.CharField(_("action"), max_length=24, choices=Action)
    actor = models.UUIDField(
        _("actor"),
        null=True,
        blank=True,
        help_text=_("User who acted; null without sign-in, and for actions of the service."),
    )
    actor_name = models.CharField(_("actor name"), max_length=150, blank=True)
    record_type = models.CharField(_("record type"), max_length=40)
    record = models.UUIDField(_("record"), null=True, blank=True)
    record_name = models.CharField(_("record name"), max_length=200, blank=True)
    before: models.JSONField[Any, Any] = models.JSONField(default=dict, blank=True, encoder=DjangoJSONEncoder)
    after: models.JSONField[Any, Any] = models.JSONField(default=dict, blank=True, encoder=DjangoJSONEncoder)

    class Meta:
        verbose_name = _("audit entry")
        ordering = ["-at", "-id"]
        verbose_name_plural = _("audit entries")
        indexes = [
            models.Index(fields=["-at", "-id"], name="audit_by_time"),
            models.Index(fields=["record", "-at"], name="audit_by_record"),
            models.Index(fields=["actor", "-at"], name="audit_by_actor"),
        ]
