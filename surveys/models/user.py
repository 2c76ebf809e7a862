"""Users, and the role that decides their permissions."""

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from surveys.models.base import uuid7
from surveys.models.role import Role


class User(AbstractUser):
    id = models.UUIDField(_("id"), primary_key=True, default=uuid7, editable=False)
    role = models.CharField(_("role"), max_length=20, choices=Role, default=Role.CLIENT)
    client = models.ForeignKey(
        "Client", models.PROTECT, null=True, blank=True, related_name="viewers", verbose_name=_("client")
    )
    is_service_account = models.BooleanField(
        _("is service account"),
        default=False,
        help_text=_("User account of a program: tokens only, no password."),
    )

    class Meta:
        verbose_name = _("user")
        verbose_name_plural = _("users")
        ordering = ["username"]
        constraints = [
            # A client viewer without an organisation would see nothing; staff have no organisation.
            models.CheckConstraint(
                name="user_client_only_for_client_viewers",
                condition=(~Q(role=Role.CLIENT) & Q(client__isnull=True)) | Q(role=Role.CLIENT),
            ),
            models.CheckConstraint(
                name="user_service_account_without_admin",
                condition=Q(is_service_account=False) | Q(is_staff=False, is_superuser=False),
            ),
        ]
