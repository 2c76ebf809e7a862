"""Results, and the recomputations that replace them."""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from surveys.models.base import Record
from surveys.models.calibration import Calibration, ErrorCorrectionPolicy
from surveys.models.instrument import Instrument, TransducerData
from surveys.models.pipe import Pipe, PipeData, WallMeasurement
from surveys.models.reasons import ReasonField
from surveys.models.survey import MAX_LOG_BYTES, Log, Survey, SurveyData


class Cause(models.TextChoices):
    LOG_IMPORT = "log-import", _("log imported")
    CORRECTION = "correction", _("pipe data corrected")
    MODIFICATION = "modification", _("pipe modified")
    SURVEY_CORRECTION = "survey-correction", _("survey data corrected")
    SEGMENTS = "segments", _("segments of the log changed")
    OUTLIERS = "outliers", _("outliers of the log included or excluded")
    TRANSDUCER_CORRECTION = "transducer-correction", _("transducer data corrected")
    CALIBRATION = "calibration", _("calibration recorded or corrected")
    OUT_OF_TOLERANCE = (
        "out-of-tolerance",
        _("an instrument was found out of tolerance: what that would make of results"),
    )
    AS_FOUND = "as-found", _("as-found error corrected by decision")
    CURVES = "error-correction-policy", _("error correction policy changed")
    METHOD = "method", _("new version of the calculation method")
    COMBINATION = "combination", _("surveys combined")


class PropagationMethod(models.TextChoices):
    LAW_OF_PROPAGATION = "law-of-propagation", _("law of propagation of uncertainty")
    MONTE_CARLO = "monte-carlo", _("Monte Carlo")


class Recomputation(Record):
    """Background run that calculates new results for the surveys that used changed data."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        RUNNING = "running", _("running")
        FINISHED = "finished", _("finished")
        FINISHED_WITH_FAILURES = "finished-with-failures", _("finished with failures")

    CLIENT_PATH = "pipe__site__client"
    SITE_PATH = "pipe__site"

    # Cause of the run: one of these records, or the method.
    pipe_data = models.ForeignKey(
        PipeData,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="recomputations",
        verbose_name=_("pipe data"),
    )
    survey_data = models.ForeignKey(
        SurveyData,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="recomputations",
        verbose_name=_("survey data"),
    )
    transducer_data = models.ForeignKey(
        TransducerData,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="recomputations",
        verbose_name=_("transducer data"),
    )
    calibration = models.ForeignKey(
        Calibration,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="recomputations",
        verbose_name=_("calibration"),
    )
    error_correction_policy = models.ForeignKey(
        ErrorCorrectionPolicy,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="recomputations",
        verbose_name=_("error correction policy"),
    )
    # The pipe of the surveys; null for a run across pipes, which clients see by their notices.
    pipe = models.ForeignKey(
        Pipe, models.PROTECT, null=True, blank=True, related_name="recomputations", verbose_name=_("pipe")
    )
    cause = models.CharField(_("cause"), max_length=24, choices=Cause)
    reason = ReasonField(_("reason"))
    state = models.CharField(_("state"), max_length=24, choices=State, default=State.WAITING)
    requested_at = models.DateTimeField(_("requested at"))
    requested_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("requested by")
    )
    started_at = models.DateTimeField(_("started at"), null=True, blank=True)
    finished_at = models.DateTimeField(_("finished at"), null=True, blank=True)

    class Meta:
        verbose_name = _("recalculation")
        verbose_name_plural = _("recalculations")
        ordering = ["-requested_at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="recomputation_says_what_changed",
                condition=Q(pipe_data__isnull=False)
                | Q(survey_data__isnull=False)
                | Q(transducer_data__isnull=False)
                | Q(calibration__isnull=False)
                | Q(error_correction_policy__isnull=False)
                | Q(cause=Cause.METHOD),
            )
        ]
        indexes = [
            models.Index(
                fields=["requested_at"],
                name="recomputation_open",
                condition=Q(state__in=["waiting", "running"]),
            )
        ]


class Result(Record):
    """Result of a survey: immutable, with all data it was calculated from.

    One is current for each survey; a replaced one is kept and marked with the time of its replacement.
    """

    CLIENT_PATH = "survey__client"
    SITE_PATH = "survey__measuring_point__pipe__site"

    survey = models.ForeignKey(Survey, models.PROTECT, related_name="results", verbose_name=_("survey"))
    log = models.ForeignKey(Log, models.PROTECT, related_name="results", verbose_name=_("log"))
    survey_data = models.ForeignKey(
        SurveyData, models.PROTECT, related_name="results", verbose_name=_("survey data")
    )
    pipe_data = models.ForeignKey(
        PipeData, models.PROTECT, related_name="results", verbose_name=_("pipe data")
    )
    transducer_data = models.ForeignKey(
        TransducerData, models.PROTECT, related_name="results", verbose_name=_("transducer data")
    )
    wall_measurement = models.ForeignKey(
        WallMeasurement,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="results",
        verbose_name=_("wall measurement"),
    )
    calibrations = models.ManyToManyField(Calibration, related_name="results", verbose_name=_("calibrations"))
    error_corrections = models.ManyToManyField(
        Instrument,
        related_name="+",
        help_text=_("Instruments with applied error corrections."),
        verbose_name=_("corrected for"),
    )
    as_found_corrections = models.ManyToManyField(
        Calibration,
        related_name="+",
        help_text=_("Certificates with as-found errors applied by decision."),
        verbose_name=_("as found"),
    )
    method_version = models.CharField(_("method version"), max_length=20)
    cause = models.CharField(_("cause"), max_length=24, choices=Cause)
    recomputation = models.ForeignKey(
        Recomputation,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="results",
        verbose_name=_("recalculation"),
    )
    replaces = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by", verbose_name=_("replaces")
    )
    replaced_at = models.DateTimeField(_("replaced at"), null=True, blank=True)
    computed_at = models.DateTimeField(_("calculated at"))

    readings_used = models.BigIntegerField(
        _("readings used"), validators=[MinValueValidator(0), MaxValueValidator(MAX_LOG_BYTES)]
    )
    readings_outside = models.BigIntegerField(
        _("readings outside"),
        default=0,
        validators=[MinValueValidator(0), MaxValueValidator(MAX_LOG_BYTES)],
        help_text=_("Readings outside the selected segments."),
    )
    readings_excluded = models.BigIntegerField(
        _("readings excluded"),
        default=0,
        validators=[MinValueValidator(0), MaxValueValidator(MAX_LOG_BYTES)],
        help_text=_("Outliers that are not used."),
    )
    outliers = models.JSONField(
        _("outliers"),
        default=list,
        help_text=_("First and last row of each run of outliers; the first reading of the log is row 0."),
    )
    effective_readings = models.FloatField(
        _("effective number of readings"),
        null=True,
        help_text=_("Number of independent readings with the same uncertainty of the mean."),
    )
    correlation_time_s = models.FloatField(
        _("correlation time (s)"), null=True, help_text=_("Time between independent readings.")
    )
    transit_time_s = models.FloatField(_("transit time (s)"), help_text=_("Mean of the readings used."))
    time_difference_s = models.FloatField(_("time difference (s)"), help_text=_("Mean of the readings used."))
    volume_flow_m3_s = models.FloatField(_("volume flow (m³/s)"))
    volume_flow_standard_deviation_m3_s = models.FloatField(_("volume flow standard deviation (m³/s)"))
    expanded_uncertainty_m3_s = models.FloatField(_("expanded uncertainty (m³/s)"))
    coverage_factor = models.FloatField(_("coverage factor"))
    combined_standard_uncertainty_m3_s = models.FloatField(_("combined standard uncertainty (m³/s)"))
    effective_degrees_of_freedom = models.FloatField(
        _("effective degrees of freedom"), null=True, help_text=_("Null: infinite.")
    )
    coverage_low_m3_s = models.FloatField(_("lower end of the coverage interval (m³/s)"))
    coverage_high_m3_s = models.FloatField(_("upper end of the coverage interval (m³/s)"))
    propagation_method = models.CharField(_("propagation method"), max_length=20, choices=PropagationMethod)
    monte_carlo_trials = models.PositiveIntegerField(_("Monte Carlo trials"), null=True)
    monte_carlo_seed = models.BigIntegerField(_("Monte Carlo seed"), null=True)
    mean_velocity_m_s = models.FloatField(_("mean velocity (m/s)"))
    path_velocity_m_s = models.FloatField(_("path velocity (m/s)"))
    reynolds = models.FloatField(_("reynolds"))
    profile_factor = models.FloatField(_("profile factor"))
    measured_sound_speed_m_s = models.FloatField(_("measured sound speed (m/s)"))
    expected_sound_speed_m_s = models.FloatField(_("expected sound speed (m/s)"))
    spacing_m = models.FloatField(_("spacing (m)"), help_text=_("Spacing required for the pipe data."))
    findings = models.JSONField(_("findings"))
    budget = models.JSONField(_("budget"))
    calculation = models.JSONField(
        _("calculation"),
        help_text=_("Wave modes, sound speeds, bore and times that the flow is calculated with."),
    )
    change_breakdown = models.JSONField(
        _("change breakdown"), null=True, help_text=_("Difference from the replaced result, with causes.")
    )

    class Meta:
        verbose_name = _("result")
        verbose_name_plural = _("results")
        ordering = ["-computed_at", "-id"]
        indexes = [models.Index(fields=["-computed_at", "-id"], name="result_by_time")]
        constraints = [
            models.UniqueConstraint(
                name="result_one_current_for_a_survey",
                fields=["survey"],
                condition=Q(replaced_at__isnull=True),
            ),
            models.CheckConstraint(
                name="result_coverage_interval_in_order",
                condition=Q(coverage_low_m3_s__lte=F("coverage_high_m3_s")),
            ),
            models.CheckConstraint(
                name="result_monte_carlo_states_trials_and_seed",
                condition=Q(
                    propagation_method="monte-carlo",
                    monte_carlo_trials__isnull=False,
                    monte_carlo_seed__isnull=False,
                )
                | Q(
                    propagation_method="law-of-propagation",
                    monte_carlo_trials__isnull=True,
                    monte_carlo_seed__isnull=True,
                ),
            ),
            models.CheckConstraint(name="result_not_replaced_by_itself", condition=~Q(replaces=F("id"))),
            models.CheckConstraint(name="result_has_readings", condition=Q(readings_used__gt=0)),
        ]


class RecomputationItem(models.Model):
    """Survey of a recomputation, or a combination of which a part changed: status, worker and result."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        RUNNING = "running", _("running")
        DONE = "done", _("done")
        FAILED = "failed", _("failed")

    recomputation = models.ForeignKey(
        Recomputation, models.PROTECT, related_name="items", verbose_name=_("recalculation")
    )
    survey = models.ForeignKey(
        Survey,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="recomputation_items",
        verbose_name=_("survey"),
    )
    combination = models.ForeignKey(
        "Combination",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="recomputation_items",
        verbose_name=_("combination"),
    )
    state = models.CharField(_("state"), max_length=8, choices=State, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(_("attempts"), default=0, validators=[MaxValueValidator(100)])
    run_after = models.DateTimeField(_("run after"))
    claimed_by = models.UUIDField(_("claimed by"), null=True, blank=True)
    lease_until = models.DateTimeField(_("lease until"), null=True, blank=True)
    error = models.JSONField(_("error"), null=True, blank=True, help_text=_("Message of the last failure."))
    finished_at = models.DateTimeField(
        _("finished at"), null=True, blank=True, help_text=_("Time of completion or failure.")
    )
    before = models.ForeignKey(
        Result, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("before")
    )
    after = models.ForeignKey(
        Result, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("after")
    )
    before_combined = models.ForeignKey(
        "CombinedResult",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("before combined"),
    )
    after_combined = models.ForeignKey(
        "CombinedResult",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("after combined"),
    )

    class Meta:
        verbose_name = _("recalculation item")
        verbose_name_plural = _("recalculation items")
        ordering = ["recomputation", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["recomputation", "survey"], name="recomputation_item_once_for_a_survey"
            ),
            models.UniqueConstraint(
                fields=["recomputation", "combination"], name="recomputation_item_once_for_a_combination"
            ),
            models.CheckConstraint(
                name="recomputation_item_of_a_survey_or_a_combination",
                condition=Q(
                    survey__isnull=False,
                    combination__isnull=True,
                    before_combined__isnull=True,
                    after_combined__isnull=True,
                )
                | Q(
                    survey__isnull=True,
                    combination__isnull=False,
                    before__isnull=True,
                    after__isnull=True,
                ),
            ),
        ]
        indexes = [
            # Few items are open compared with all items: the query for work reads only these.
            models.Index(
                fields=["recomputation", "id"],
                name="recomputation_item_open",
                condition=Q(state__in=["waiting", "running"]),
            )
        ]
