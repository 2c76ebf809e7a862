"""Notices to clients, and their acknowledgements."""

from __future__ import annotations

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from surveys.models.base import Record, VisibleQuerySet, own_jobs
from surveys.models.combination import CombinedResult
from surveys.models.reasons import ReasonField
from surveys.models.result import Result
from surveys.models.site import Client
from surveys.models.user import User


class NoticeQuerySet(VisibleQuerySet):
    """Notices, which lead to their site by a survey or by a combination."""

    def _of_technician(self, user: User) -> Self:
        sites = own_jobs(user).values("site")
        of_survey = Q(before__survey__measuring_point__pipe__site__in=sites)
        return self.filter(of_survey | Q(before_combined__combination__site__in=sites))


class NoticeKind(models.TextChoices):
    CHANGED = "changed", _("result changed")
    WITHDRAWN = "withdrawn", _("result withdrawn")


class Notice(Record):
    """Result of a survey or a combination that changed by more than the client's threshold or was withdrawn: before, after,
    reason.
    """

    CLIENT_PATH = "client"

    objects = NoticeQuerySet.as_manager()  # type: ignore[misc]

    client = models.ForeignKey(Client, models.PROTECT, related_name="notices", verbose_name=_("client"))
    kind = models.CharField(_("kind"), max_length=9, choices=NoticeKind, default=NoticeKind.CHANGED)
    before = models.ForeignKey(
        Result, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("before")
    )
    after = models.OneToOneField(
        Result, models.PROTECT, null=True, blank=True, related_name="notice", verbose_name=_("after")
    )
    before_combined = models.ForeignKey(
        CombinedResult,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("before combined"),
    )
    after_combined = models.OneToOneField(
        CombinedResult,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="notice",
        verbose_name=_("after combined"),
    )
    relative_change = models.FloatField(
        _("relative change"),
        null=True,
        help_text=_("Relative change of the flow; null if the previous flow was 0."),
    )
    threshold = models.FloatField(_("threshold"))
    reason = ReasonField(_("reason"))
    created_at = models.DateTimeField(_("created at"))
    acknowledged_at = models.DateTimeField(_("acknowledged at"), null=True, blank=True)
    acknowledged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("acknowledged by"),
    )

    class Meta:
        verbose_name = _("notice")
        verbose_name_plural = _("notices")
        ordering = ["-created_at", "-id"]
        indexes = [models.Index(fields=["-created_at", "-id"], name="notice_by_time")]
        constraints = [
            models.CheckConstraint(
                name="notice_acknowledged_by_somebody",
                condition=Q(acknowledged_at__isnull=True, acknowledged_by__isnull=True)
                | Q(acknowledged_at__isnull=False, acknowledged_by__isnull=False),
            ),
            models.CheckConstraint(
                name="notice_of_a_result_or_a_combined_one",
                condition=Q(
                    kind="withdrawn",
                    before__isnull=False,
                    after__isnull=True,
                    before_combined__isnull=True,
                    after_combined__isnull=True,
                )
                | Q(
                    kind="withdrawn",
                    before__isnull=True,
                    after__isnull=True,
                    before_combined__isnull=False,
                    after_combined__isnull=True,
                )
                | Q(
                    kind="changed",
                    before__isnull=False,
                    after__isnull=False,
                    before_combined__isnull=True,
                    after_combined__isnull=True,
                )
                | Q(
                    kind="changed",
                    before__isnull=True,
                    after__isnull=True,
                    before_combined__isnull=False,
                    after_combined__isnull=False,
                ),
            ),
        ]
