"""Calibrations with their points, and the policies for acceptance and due dates.

Conformity is not stored: it is calculated from the points (`surveys.calibration.conformity`). The criteria are copied from a
policy into the calibration, so that a later policy does not change an earlier statement of conformity.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar, NoReturn, cast

from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import F, ProtectedError, Q
from django.utils.translation import gettext_lazy as _

from compute.calibration.decision_rules import DecisionRule, PermissibleError, Rule
from compute.calibration.due_dates import Interval
from compute.calibration.points import Point
from surveys.models.base import Record, VisibleQuerySet, as_entered_field
from surveys.models.instrument import Instrument, Kind
from surveys.models.reasons import ReasonField

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager

REMIND_DAYS = (30, 60, 90)


class CombineBy(models.TextChoices):
    SUM = "sum", _("sum")
    MAXIMUM = "maximum", _("larger of both")


class DecisionRuleName(models.TextChoices):
    SIMPLE = "simple-acceptance", _("simple acceptance")
    GUARD_BANDED = "guarded-acceptance", _("guarded acceptance")
    NON_BINARY = "non-binary", _("non-binary (conditional pass or fail)")


class Moment(models.TextChoices):
    AS_FOUND = "as-found", _("as found")
    AS_LEFT = "as-left", _("as left")


class LimitsFrom(models.TextChoices):
    CERTIFICATE = "certificate", _("certificate")
    INSTRUMENT = "instrument", _("acceptance policy of the instrument")
    TYPE = "type", _("acceptance policy of the type")


class Acceptance(models.Model):
    """Columns of a maximum permissible error and a decision rule; the absolute part in SI of the instrument's errors."""

    permissible_absolute_si = models.FloatField(null=True, blank=True)
    permissible_relative = models.FloatField(null=True, blank=True)
    permissible_combine_by = models.CharField(max_length=8, choices=CombineBy, blank=True)
    decision_rule = models.CharField(max_length=24, choices=DecisionRuleName, blank=True)
    guard_factor = models.FloatField(null=True, blank=True)

    class Meta:
        abstract = True

    def maximum_permissible_error(self) -> PermissibleError | None:
        """Return the limit as input of the physics; None if none is given."""
        return self.limit() if self.decision_rule else None

    def limit(self) -> PermissibleError:
        """Return the limit; call only if a limit is given."""
        combine_by = cast(Any, self.permissible_combine_by or None)
        return PermissibleError(self.permissible_absolute_si, self.permissible_relative, combine_by)

    def rule(self) -> DecisionRule:
        """Return the decision rule; call only if a limit is given."""
        factor = 1.0 if self.guard_factor is None else self.guard_factor
        return DecisionRule(cast(Rule, self.decision_rule), factor)

    def set_acceptance(self, permissible: PermissibleError, rule: DecisionRule) -> None:
        """Fill the columns; the inverse of `limit` and `rule`."""
        self.permissible_absolute_si = permissible.absolute
        self.permissible_relative = permissible.relative
        self.permissible_combine_by = permissible.combine_by or ""
        self.decision_rule = rule.rule
        self.guard_factor = rule.guard_factor


class Policy(Record):
    """Policy for one instrument or for all of a type; never changed, the latest one recorded applies."""

    kind = models.CharField(max_length=20, choices=Kind, blank=True)
    type_name = models.CharField(
        max_length=100, blank=True, help_text=_("Type of instrument; empty: all types of the kind.")
    )
    instrument = models.ForeignKey(
        Instrument, models.PROTECT, null=True, blank=True, related_name="%(class)s_rows"
    )
    reason = ReasonField(blank=True, default=str)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        abstract = True
        ordering = ["-recorded_at", "-id"]

    def closeness(self, instrument: Instrument) -> int:
        """Return how specific the policy is: 3 the instrument, 2 its type, 1 its kind, 0 not at all."""
        if self.instrument_id is not None:
            return 3 if self.instrument_id == instrument.pk else 0
        if self.kind != instrument.kind or self.type_name not in ("", instrument.type_name):
            return 0
        return 2 if self.type_name else 1


def _about_one(name: str) -> models.CheckConstraint:
    of_type = Q(instrument__isnull=True) & ~Q(kind="")
    return models.CheckConstraint(
        name=name, condition=of_type | Q(instrument__isnull=False, kind="", type_name="")
    )


class AcceptancePolicy(Policy, Acceptance):
    """Maximum permissible error and decision rule for certificates without their own."""

    as_entered = as_entered_field()

    class Meta(Policy.Meta):
        abstract = False
        verbose_name_plural = _("acceptance policies")
        constraints = [
            _about_one("acceptance_policy_about_instrument_or_type"),
            models.CheckConstraint(name="acceptance_policy_states_a_rule", condition=~Q(decision_rule="")),
        ]


MAX_INTERVAL_MONTHS = 1200
MAX_INTERVAL_DAYS = 37_200


def remind_days() -> list[int]:
    """Return the days before the due date at which people are notified, unless a policy gives others."""
    return list(REMIND_DAYS)


class IntervalPolicy(Policy):
    """Calibration interval in months, days or hours of use, whichever ends first, and the days of its reminders."""

    months = models.PositiveIntegerField(
        _("months"), null=True, blank=True, validators=[MaxValueValidator(MAX_INTERVAL_MONTHS)]
    )
    days = models.PositiveIntegerField(
        _("days"), null=True, blank=True, validators=[MaxValueValidator(MAX_INTERVAL_DAYS)]
    )
    hours = models.FloatField(_("hours"), null=True, blank=True)
    remind_days = models.JSONField(
        _("remind days"),
        default=remind_days,
        help_text=_("Days before the due date when a reminder is sent, ascending."),
    )

    class Meta(Policy.Meta):
        verbose_name = _("interval policy")
        abstract = False
        verbose_name_plural = _("interval policies")
        constraints = [
            _about_one("interval_policy_about_instrument_or_type"),
            models.CheckConstraint(
                name="interval_policy_has_a_calendar",
                condition=Q(months__isnull=False) | Q(days__isnull=False),
            ),
        ]

    def interval(self) -> Interval:
        """Return the interval as input of the physics."""
        return Interval(self.months, self.days, self.hours)


class ErrorCorrectionPolicy(Policy):
    """Whether results are corrected by the error curves of instruments, for surveys from a date on."""

    applied = models.BooleanField(_("applied"))
    valid_from = models.DateField(
        _("valid from"), help_text=_("Date of the first survey to which the policy applies.")
    )

    class Meta(Policy.Meta):
        verbose_name = _("error correction policy")
        abstract = False
        verbose_name_plural = _("error correction policies")
        constraints = [_about_one("error_correction_policy_about_instrument_or_type")]


class RetainedQuerySet(VisibleQuerySet):
    """Rows that results name in a separate table, whose rows a deletion would remove silently."""

    def delete(self) -> NoReturn:
        raise ProtectedError("Records that results are based on cannot be deleted.", set(self))


class Calibration(Record, Acceptance):
    """Calibration certificate: its dates of validity and its acceptance criteria.

    A calibration that `corrects` another replaces it: the other was entered wrongly.
    """

    instrument = models.ForeignKey(
        Instrument, models.PROTECT, related_name="calibrations", verbose_name=_("instrument")
    )
    corrects = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="corrected_by", verbose_name=_("corrects")
    )
    certificate = models.CharField(_("certificate"), max_length=100)
    laboratory = models.CharField(_("laboratory"), max_length=200)
    accreditation = models.CharField(_("accreditation"), max_length=200, blank=True)
    calibrated_on = models.DateField(_("calibrated on"))
    due_on = models.DateField(_("due on"))
    interval_policy = models.ForeignKey(
        IntervalPolicy,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="calibrations",
        help_text=_("Policy that set the due date, if the certificate states none."),
        verbose_name=_("interval policy"),
    )
    conditions = models.TextField(_("conditions"), blank=True)
    conditions_temperature_k = models.FloatField(_("conditions temperature (K)"), null=True, blank=True)
    limits_from = models.CharField(_("limits from"), max_length=12, choices=LimitsFrom, blank=True)
    note = models.TextField(_("note"), blank=True)
    as_entered = as_entered_field()
    recorded_at = models.DateTimeField(_("recorded at"))
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("recorded by")
    )

    objects: ClassVar[Any] = RetainedQuerySet.as_manager()

    if TYPE_CHECKING:
        points: RelatedManager[CalibrationPoint]

    class Meta:
        verbose_name = _("calibration")
        verbose_name_plural = _("calibrations")
        ordering = ["-calibrated_on", "-id"]
        constraints = [
            models.CheckConstraint(
                name="calibration_due_after_its_date", condition=Q(due_on__gt=F("calibrated_on"))
            ),
            models.CheckConstraint(
                name="calibration_says_where_limits_are_from",
                condition=Q(decision_rule="", limits_from="") | (~Q(decision_rule="") & ~Q(limits_from="")),
            ),
            models.UniqueConstraint(
                fields=["instrument", "laboratory", "certificate"],
                condition=Q(corrects__isnull=True),
                name="calibration_certificate_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.certificate} ({self.calibrated_on} to {self.due_on})"

    def delete(self, *_: Any, **__: Any) -> NoReturn:
        """Reject the deletion: a record is corrected instead."""
        raise ProtectedError("Records that results are based on cannot be deleted.", {self})


class CalibrationPoint(models.Model):
    """One point of a certificate; SI values of the quantity that its instrument measures."""

    calibration = models.ForeignKey(
        Calibration, models.PROTECT, related_name="points", verbose_name=_("calibration")
    )
    moment = models.CharField(_("moment"), max_length=8, choices=Moment)
    sequence = models.PositiveIntegerField(_("sequence"))
    reference_si = models.FloatField(_("reference (SI)"))
    indicated_si = models.FloatField(_("indicated (SI)"))
    expanded_uncertainty_si = models.FloatField(_("expanded uncertainty (SI)"))
    coverage_factor = models.FloatField(_("coverage factor"))
    as_entered = as_entered_field()

    class Meta:
        verbose_name = _("calibration point")
        verbose_name_plural = _("calibration points")
        ordering = ["calibration", "moment", "sequence"]
        constraints = [
            models.UniqueConstraint(
                fields=["calibration", "moment", "sequence"], name="calibration_point_once"
            ),
            models.CheckConstraint(
                name="calibration_point_uncertainty_possible",
                condition=Q(expanded_uncertainty_si__gte=0, coverage_factor__gte=1),
            ),
        ]

    def point(self) -> Point:
        """Return the point as input of the physics."""
        return Point(self.reference_si, self.indicated_si, self.expanded_uncertainty_si, self.coverage_factor)


class CalibrationReminder(Record):
    """Notification of a due date at a threshold: claimed by one run, sent once."""

    instrument = models.ForeignKey(
        Instrument, models.PROTECT, related_name="reminders", verbose_name=_("instrument")
    )
    due_on = models.DateField(_("due on"))
    threshold_days = models.IntegerField(
        _("threshold days"), help_text=_("Days before the due date; -1: overdue.")
    )
    claim = models.UUIDField(_("claim"), help_text=_("Run that sends the reminder."))
    claimed_until = models.DateTimeField(_("claimed until"))
    sent_at = models.DateTimeField(_("sent at"), null=True, blank=True)

    class Meta:
        verbose_name = _("calibration reminder")
        verbose_name_plural = _("calibration reminders")
        ordering = ["-due_on", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["instrument", "due_on", "threshold_days"], name="calibration_reminder_once"
            )
        ]


class FeedSubject(models.TextChoices):
    DUE_DATES = "due-dates", _("due dates")
    JOBS = "jobs", _("jobs of a technician")


class CalendarFeed(Record):
    """Address of due dates or of a user's jobs for a calendar program; only a digest of its token is stored."""

    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="calendar_feeds", verbose_name=_("owner")
    )
    subject = models.CharField(
        _("subject"), max_length=10, choices=FeedSubject, default=FeedSubject.DUE_DATES
    )
    label = models.CharField(_("label"), max_length=100, blank=True)
    token_sha256 = models.CharField(_("token SHA-256"), max_length=64, unique=True)
    created_at = models.DateTimeField(_("created at"))
    last_used_at = models.DateTimeField(_("last used at"), null=True, blank=True)
    revoked_at = models.DateTimeField(_("revoked at"), null=True, blank=True)

    class Meta:
        verbose_name = _("calendar feed")
        verbose_name_plural = _("calendar feeds")
        ordering = ["-created_at", "-id"]
