"""Repeated requests of a client: the first response is stored and returned again."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class IdempotencyKey(models.Model):
    """Key that a user sent with a request, its purpose, and the response once there is one."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="+", verbose_name=_("user")
    )
    key = models.CharField(_("key"), max_length=200)
    request_digest = models.CharField(_("request digest"), max_length=64)
    created_at = models.DateTimeField(_("created at"))
    lease_until = models.DateTimeField(
        _("lease until"), help_text=_("Time until which the first request is treated as running.")
    )
    status = models.PositiveSmallIntegerField(_("status"), null=True)
    content_type = models.CharField(_("content type"), max_length=100, blank=True)
    headers = models.JSONField(_("headers"), default=dict)
    body = models.BinaryField(_("body"), default=b"")

    class Meta:
        verbose_name = _("idempotency key")
        verbose_name_plural = _("idempotency keys")
        constraints = [
            models.UniqueConstraint(fields=["user", "key"], name="idempotency_key_once_for_a_user")
        ]
