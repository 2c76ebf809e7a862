"""Acknowledging notices."""

from __future__ import annotations

from datetime import datetime

from surveys.core.errors import NotAllowed
from surveys.models import Notice, Role, User


def notice_acknowledge(*, notice: Notice, by: User, now: datetime) -> Notice:
    """Note that the client has seen a notice; the first who says so stands.

    Raises NotAllowed for anybody but the client's own people: nobody sees it for them.
    """
    if by.role != Role.CLIENT or by.client_id != notice.client_id:
        raise NotAllowed("Only the client's own people acknowledge a notice.", code="not-the-client")
    Notice.objects.filter(pk=notice.pk, acknowledged_at__isnull=True).update(
        acknowledged_at=now, acknowledged_by=by
    )
    notice.refresh_from_db()
    return notice
