"""Acknowledging notices."""

from __future__ import annotations

from datetime import datetime

from surveys.core.errors import NotAllowed
from surveys.models import Notice, Role, User


def notice_acknowledge(*, notice: Notice, by: User, now: datetime) -> Notice:
    """Acknowledge a notice for the client; the first acknowledgement is kept.

    Raises NotAllowed for users of other organisations.
    """
    if by.role != Role.CLIENT or by.client_id != notice.client_id:
        raise NotAllowed("not-the-client")
    Notice.objects.filter(pk=notice.pk, acknowledged_at__isnull=True).update(
        acknowledged_at=now, acknowledged_by=by
    )
    notice.refresh_from_db()
    return notice
