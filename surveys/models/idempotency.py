"""Writes that a client may send again: the first answer is kept and given again."""

from django.conf import settings
from django.db import models


class IdempotencyKey(models.Model):
    """A key a user sent with a write, what it was for, and the answer once there is one."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    key = models.CharField(max_length=200)
    request_digest = models.CharField(max_length=64)
    created_at = models.DateTimeField()
    lease_until = models.DateTimeField(help_text="Until then the first request counts as still running.")
    status = models.PositiveSmallIntegerField(null=True)
    content_type = models.CharField(max_length=100, blank=True)
    headers = models.JSONField(default=dict)
    body = models.BinaryField(default=b"")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "key"], name="idempotency_key_once_for_a_user")
        ]
