"""Surveys, and the logs taken in for them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from surveys.models.base import Record, as_entered_field
from surveys.models.instrument import Instrument
from surveys.models.job import Job
from surveys.models.log_format import LogFormat
from surveys.models.measuring_point import MeasuringPoint, Setup
from surveys.models.pipe import TemperatureSource
from surveys.models.site import Client

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager

    from surveys.models.site_meter import SiteMeterReading


class Survey(Record):
    """One measurement at a measuring point with the transducers mounted once.

    What was stated of it is in its versions (`data`), of which one is in force. `started_at` repeats that one's, to list
    and filter by; the service that writes a version writes both. `client` repeats the site's, so that a client's surveys
    are walked in their order however many others there are; neither ever changes (`surveys.core.append_only`).
    """

    CLIENT_PATH = "client"
    SITE_PATH = "measuring_point__pipe__site"

    measuring_point = models.ForeignKey(MeasuringPoint, models.PROTECT, related_name="surveys")
    client = models.ForeignKey(Client, models.PROTECT, related_name="+", db_index=False)
    job = models.ForeignKey(Job, models.PROTECT, null=True, blank=True, related_name="surveys")
    technician = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="surveys")
    started_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    primary_survey = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="paths",
        help_text="The first survey at this point of which this one is a further path.",
    )

    if TYPE_CHECKING:
        data: RelatedManager[SurveyData]
        paths: RelatedManager[Survey]
        site_meter_readings: RelatedManager[SiteMeterReading]

    class Meta:
        ordering = ["-started_at", "-id"]
        indexes = [
            models.Index(fields=["-started_at", "-id"], name="survey_by_time"),
            models.Index(fields=["measuring_point", "-started_at", "-id"], name="survey_by_point_and_time"),
            models.Index(fields=["client", "-started_at", "-id"], name="survey_by_client_and_time"),
        ]
        constraints = [
            models.CheckConstraint(
                name="survey_not_its_own_primary_survey",
                condition=Q(primary_survey__isnull=True) | ~Q(primary_survey=F("id")),
            )
        ]

    @property
    def stated(self) -> SurveyData:
        """What is stated of it, as it stands now; `in_force` where it was read with many."""
        versions = self.__dict__.get("in_force") or self.data.all()
        return next(version for version in versions if version.replaced_at is None)


class SurveyChange(models.TextChoices):
    FIRST = "first", "first entry"
    CORRECTION = "correction", "correction"
    SEGMENTS = "segments", "segments of the log marked"


class SurveyData(Record):
    """One immutable version of what a technician states of a survey: the mounting, the day, the stretches that count."""

    CLIENT_PATH = "survey__client"
    SITE_PATH = "survey__measuring_point__pipe__site"

    survey = models.ForeignKey(Survey, models.PROTECT, related_name="data")
    change = models.CharField(max_length=12, choices=SurveyChange, default=SurveyChange.FIRST)
    reason = models.TextField(blank=True)
    setup = models.ForeignKey(Setup, models.PROTECT, related_name="survey_data")
    instruments = models.ManyToManyField(Instrument, related_name="survey_data")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    mounted_spacing_m = models.FloatField(null=True, blank=True)
    medium_temperature_k = models.FloatField(null=True, blank=True)
    medium_temperature_source = models.CharField(max_length=10, choices=TemperatureSource, blank=True)
    path_angle_rad = models.FloatField(
        null=True,
        blank=True,
        help_text="Angle about the pipe's axis at which the upstream transducer sits, from one mark for all paths.",
    )
    segments = models.JSONField(
        default=list,
        blank=True,
        help_text="Stretches of the log that count: start, end, reason. None: all of it.",
    )
    note = models.TextField(blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    replaced_at = models.DateTimeField(null=True, blank=True)
    as_entered = as_entered_field()

    class Meta:
        ordering = ["-recorded_at", "-id"]
        verbose_name_plural = "survey data"
        constraints = [
            models.UniqueConstraint(
                name="survey_data_one_in_force", fields=["survey"], condition=Q(replaced_at__isnull=True)
            ),
            models.CheckConstraint(
                name="survey_ends_after_it_starts",
                condition=Q(ended_at__isnull=True) | Q(ended_at__gt=F("started_at")),
            ),
            models.CheckConstraint(
                name="survey_temperature_states_its_source",
                condition=Q(medium_temperature_k__isnull=True, medium_temperature_source="")
                | (Q(medium_temperature_k__isnull=False) & ~Q(medium_temperature_source="")),
            ),
            models.CheckConstraint(
                name="survey_data_change_has_reason", condition=Q(change=SurveyChange.FIRST) | ~Q(reason="")
            ),
        ]


class Log(Record):
    """A logger's file taken in: what it held, what was refused, and its checksum."""

    CLIENT_PATH = "survey__client"
    SITE_PATH = "survey__measuring_point__pipe__site"

    survey = models.OneToOneField(Survey, models.PROTECT, related_name="log")
    file_name = models.CharField(max_length=200, blank=True)
    size_bytes = models.BigIntegerField()
    sha256 = models.CharField(max_length=64)
    format = models.JSONField(help_text="How the file was read.")
    log_format = models.ForeignKey(
        LogFormat,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="logs",
        help_text="Whose layout it was.",
    )
    columns = models.JSONField(help_text="Name and unit of each column, as the header line gave them.")
    ignored_columns = models.JSONField(default=list, help_text="Columns of other names, left unread.")
    rows_accepted = models.BigIntegerField()
    rows_rejected = models.BigIntegerField()
    rejected_rows = models.JSONField(help_text="The first refused rows: line, column, what was wrong.")
    findings = models.JSONField(default=list, help_text="Gaps, jumps of the clock, repeats, slips of units.")
    first_reading_at = models.DateTimeField()
    last_reading_at = models.DateTimeField()
    received_at = models.DateTimeField()
    received_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.CheckConstraint(name="log_has_readings", condition=Q(rows_accepted__gt=0))]


class LogFilePart(models.Model):
    """A piece of the file as it came, compressed; the pieces in order are the file."""

    log = models.ForeignKey(Log, models.PROTECT, related_name="file_parts")
    sequence = models.PositiveIntegerField()
    content = models.BinaryField()

    class Meta:
        ordering = ["log", "sequence"]
        constraints = [models.UniqueConstraint(fields=["log", "sequence"], name="log_file_part_once")]


class ReadingBlock(models.Model):
    """Up to 65,536 readings as compressed columns."""

    log = models.ForeignKey(Log, models.PROTECT, related_name="blocks")
    sequence = models.PositiveIntegerField()
    count = models.PositiveIntegerField()
    content = models.BinaryField()

    class Meta:
        ordering = ["log", "sequence"]
        constraints = [models.UniqueConstraint(fields=["log", "sequence"], name="reading_block_once")]
