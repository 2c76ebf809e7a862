"""Results, and the recomputations that replace them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from surveys.models.base import Record
from surveys.models.calibration import Calibration, ErrorCorrectionPolicy
from surveys.models.instrument import Instrument, TransducerData
from surveys.models.pipe import Pipe, PipeData, WallMeasurement
from surveys.models.survey import Log, Survey, SurveyData


class Cause(models.TextChoices):
    LOG_IMPORT = "log-import", "the log was taken in"
    CORRECTION = "correction", "pipe data was corrected"
    MODIFICATION = "modification", "pipe data was altered from a date on"
    SURVEY_CORRECTION = "survey-correction", "what was stated of the survey was corrected"
    SEGMENTS = "segments", "other stretches of the log were marked"
    TRANSDUCER_CORRECTION = "transducer-correction", "data of a transducer pair was corrected"
    CALIBRATION = "calibration", "a calibration was recorded or corrected"
    OUT_OF_TOLERANCE = (
        "out-of-tolerance",
        "an instrument was found out of tolerance: what that would make of results",
    )
    AS_FOUND = "as-found", "the office decided that the error found is to be corrected"
    CURVES = "error-correction-policy", "whether error curves are applied was decided anew"
    METHOD = "method", "the method of computation has a new version"
    COMBINATION = "combination", "surveys were combined"


class Recomputation(Record):
    """A background run that makes new results for the surveys that rested on something now changed."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        RUNNING = "running", "running"
        FINISHED = "finished", "finished"
        FINISHED_WITH_FAILURES = "finished-with-failures", "finished with failures"

    CLIENT_PATH = "pipe__site__client"
    SITE_PATH = "pipe__site"

    # What changed: one of these, or the method.
    pipe_data = models.ForeignKey(
        PipeData, models.PROTECT, null=True, blank=True, related_name="recomputations"
    )
    survey_data = models.ForeignKey(
        SurveyData, models.PROTECT, null=True, blank=True, related_name="recomputations"
    )
    transducer_data = models.ForeignKey(
        TransducerData, models.PROTECT, null=True, blank=True, related_name="recomputations"
    )
    calibration = models.ForeignKey(
        Calibration, models.PROTECT, null=True, blank=True, related_name="recomputations"
    )
    error_correction_policy = models.ForeignKey(
        ErrorCorrectionPolicy, models.PROTECT, null=True, blank=True, related_name="recomputations"
    )
    # The pipe whose surveys it is about; none where it goes across pipes, which clients see by their notices.
    pipe = models.ForeignKey(Pipe, models.PROTECT, null=True, blank=True, related_name="recomputations")
    cause = models.CharField(max_length=24, choices=Cause)
    reason = models.TextField()
    state = models.CharField(max_length=24, choices=State, default=State.WAITING)
    requested_at = models.DateTimeField()
    requested_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
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
    """What a survey came to: immutable, with everything it was computed from.

    One is current for each survey; a replaced one stays and is marked with the time it was replaced.
    """

    CLIENT_PATH = "survey__client"
    SITE_PATH = "survey__measuring_point__pipe__site"

    survey = models.ForeignKey(Survey, models.PROTECT, related_name="results")
    log = models.ForeignKey(Log, models.PROTECT, related_name="results")
    survey_data = models.ForeignKey(SurveyData, models.PROTECT, related_name="results")
    pipe_data = models.ForeignKey(PipeData, models.PROTECT, related_name="results")
    transducer_data = models.ForeignKey(TransducerData, models.PROTECT, related_name="results")
    wall_measurement = models.ForeignKey(
        WallMeasurement, models.PROTECT, null=True, blank=True, related_name="results"
    )
    calibrations = models.ManyToManyField(Calibration, related_name="results")
    error_corrections = models.ManyToManyField(
        Instrument, related_name="+", help_text="Instruments whose error curve was applied."
    )
    as_found_corrections = models.ManyToManyField(
        Calibration,
        related_name="+",
        help_text="Certificates whose as-found errors were applied, by decision.",
    )
    method_version = models.CharField(max_length=20)
    cause = models.CharField(max_length=24, choices=Cause)
    recomputation = models.ForeignKey(
        Recomputation, models.PROTECT, null=True, blank=True, related_name="results"
    )
    replaces = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="replaced_by")
    replaced_at = models.DateTimeField(null=True, blank=True)
    computed_at = models.DateTimeField()

    readings_used = models.BigIntegerField()
    readings_outside = models.BigIntegerField(
        default=0, help_text="Left out because they lie in none of the marked stretches."
    )
    transit_time_s = models.FloatField(help_text="Mean of the readings used.")
    time_difference_s = models.FloatField(help_text="Mean of the readings used.")
    volume_flow_m3_s = models.FloatField()
    volume_flow_standard_deviation_m3_s = models.FloatField()
    expanded_uncertainty_m3_s = models.FloatField()
    coverage_factor = models.FloatField()
    mean_velocity_m_s = models.FloatField()
    path_velocity_m_s = models.FloatField()
    reynolds = models.FloatField()
    profile_factor = models.FloatField()
    measured_sound_speed_m_s = models.FloatField()
    expected_sound_speed_m_s = models.FloatField()
    spacing_m = models.FloatField(help_text="The spacing this pipe data calls for.")
    findings = models.JSONField()
    budget = models.JSONField()
    change_breakdown = models.JSONField(
        null=True, help_text="By how much and why it differs from the result it replaces."
    )

    class Meta:
        ordering = ["-computed_at", "-id"]
        indexes = [models.Index(fields=["-computed_at", "-id"], name="result_by_time")]
        constraints = [
            models.UniqueConstraint(
                name="result_one_current_for_a_survey",
                fields=["survey"],
                condition=Q(replaced_at__isnull=True),
            ),
            models.CheckConstraint(name="result_not_replaced_by_itself", condition=~Q(replaces=F("id"))),
            models.CheckConstraint(name="result_has_readings", condition=Q(readings_used__gt=0)),
        ]


class RecomputationItem(models.Model):
    """One survey of a recomputation, or a combination of which a part moved: the work, who holds it, what came of it."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        RUNNING = "running", "running"
        DONE = "done", "done"
        FAILED = "failed", "failed"

    recomputation = models.ForeignKey(Recomputation, models.PROTECT, related_name="items")
    survey = models.ForeignKey(
        Survey, models.PROTECT, null=True, blank=True, related_name="recomputation_items"
    )
    combination = models.ForeignKey(
        "Combination", models.PROTECT, null=True, blank=True, related_name="recomputation_items"
    )
    state = models.CharField(max_length=8, choices=State, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    run_after = models.DateTimeField()
    claimed_by = models.UUIDField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    error = models.TextField(blank=True)
    finished_at = models.DateTimeField(null=True, blank=True, help_text="When it was done or failed.")
    before = models.ForeignKey(Result, models.PROTECT, null=True, blank=True, related_name="+")
    after = models.ForeignKey(Result, models.PROTECT, null=True, blank=True, related_name="+")
    before_combined = models.ForeignKey(
        "CombinedResult", models.PROTECT, null=True, blank=True, related_name="+"
    )
    after_combined = models.ForeignKey(
        "CombinedResult", models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
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
            # What is open is little beside what was ever done: the look for work reads only that.
            models.Index(
                fields=["recomputation", "id"],
                name="recomputation_item_open",
                condition=Q(state__in=["waiting", "running"]),
            )
        ]
