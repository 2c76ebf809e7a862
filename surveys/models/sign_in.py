"""Credentials of users and programs: tokens, recovery codes, invitations; secrets are stored as digests only."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _
from knox.models import AbstractAuthToken

from surveys.models.base import Record, VisibleQuerySet
from surveys.models.role import Role
from surveys.models.site import Client
from surveys.models.user import User

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser


class Scope(models.TextChoices):
    """Permissions of a token among those of its user."""

    WRITE = "write", _("all rights of the user")
    READ = "read", _("read")
    FIELD = "field", _("read, calculate, and write as a technician")
    COMPUTE = "compute", _("calculate without records")


class ApiTokenQuerySet(VisibleQuerySet):
    """API tokens: users see their own, administrators all."""

    def visible_to(self, user: User | AnonymousUser) -> Self:
        if not user.is_authenticated or not user.is_active:
            return self.none()
        return self if user.role == Role.ADMINISTRATOR else self.filter(user=user)


class ApiToken(Record, AbstractAuthToken):
    """Token of a user, stored as its digest, with its scope and the time of its last use."""

    digest = models.CharField(_("digest"), max_length=128, unique=True)
    name = models.CharField(_("name"), max_length=100)
    scope = models.CharField(_("scope"), max_length=10, choices=Scope, default=Scope.WRITE)
    last_used_at = models.DateTimeField(_("last used at"), null=True, blank=True)
    revoked_at = models.DateTimeField(_("revoked at"), null=True, blank=True)

    objects = ApiTokenQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        verbose_name = _("API token")
        verbose_name_plural = _("API tokens")
        ordering = ["-created", "-id"]
        constraints = [
            models.CheckConstraint(name="api_token_scope_known", condition=Q(scope__in=Scope.values)),
        ]

    def __str__(self) -> str:
        return self.name


class RecoveryCode(Record):
    """Single-use code that replaces a one-time code if the second factor is lost."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="recovery_codes", verbose_name=_("user")
    )
    code_sha256 = models.CharField(_("code SHA-256"), max_length=64, unique=True)
    used_at = models.DateTimeField(_("used at"), null=True, blank=True)

    class Meta:
        verbose_name = _("recovery code")
        verbose_name_plural = _("recovery codes")
        ordering = ["id"]


class InvitationQuerySet(VisibleQuerySet):
    """Invitations, visible to the office only."""

    def visible_to(self, user: User | AnonymousUser) -> Self:
        if not user.is_authenticated or not user.is_active:
            return self.none()
        return self if user.role in {Role.OFFICE, Role.ADMINISTRATOR} else self.none()


class Invitation(Record):
    """Link in an e-mail to a future user; single use, for a limited time."""

    objects = InvitationQuerySet.as_manager()  # type: ignore[misc]

    username = models.CharField(_("username"), max_length=150)
    email = models.EmailField(
        _("email"), blank=True, help_text=_("Empty after the invited user is deactivated.")
    )
    role = models.CharField(_("role"), max_length=20, choices=Role)
    client = models.ForeignKey(
        Client, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("client")
    )
    token_sha256 = models.CharField(_("token SHA-256"), max_length=64, unique=True)
    invited_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("invited by")
    )
    invited_at = models.DateTimeField(_("invited at"))
    expires_at = models.DateTimeField(_("expires at"))
    accepted_at = models.DateTimeField(_("accepted at"), null=True, blank=True)
    accepted_by = models.OneToOneField(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="invitation",
        verbose_name=_("accepted by"),
    )
    revoked_at = models.DateTimeField(_("revoked at"), null=True, blank=True)

    class Meta:
        verbose_name = _("invitation")
        verbose_name_plural = _("invitations")
        ordering = ["-invited_at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="invitation_client_viewers_have_a_client",
                condition=Q(role=Role.CLIENT, client__isnull=False)
                | (~Q(role=Role.CLIENT) & Q(client__isnull=True)),
            ),
            models.CheckConstraint(
                name="invitation_accepted_by_somebody",
                condition=Q(accepted_at__isnull=True, accepted_by__isnull=True)
                | Q(accepted_at__isnull=False, accepted_by__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return self.username
