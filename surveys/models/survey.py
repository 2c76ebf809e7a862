"""Surveys, and their imported logs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

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

MAX_LOG_BYTES = 10_000_000_000
"""Largest file that LOG_UPLOAD_MAX_MB can allow; a file has fewer rows than bytes."""


class Survey(Record):
    """One measurement at a measuring point with the transducers mounted once.

    Its versions (`data`) hold the entered data; one of them is in force. `started_at` repeats that of the version in force, for
    lists and filters; the service that writes a version writes both. `client` repeats the site's, so that lists of one client's
    surveys are fast; neither of these relations changes (`surveys.core.append_only`).
    """

    CLIENT_PATH = "client"
    SITE_PATH = "measuring_point__pipe__site"

    measuring_point = models.ForeignKey(
        MeasuringPoint, models.PROTECT, related_name="surveys", verbose_name=_("measuring point")
    )
    client = models.ForeignKey(
        Client, models.PROTECT, related_name="+", db_index=False, verbose_name=_("client")
    )
    job = models.ForeignKey(
        Job, models.PROTECT, null=True, blank=True, related_name="surveys", verbose_name=_("job")
    )
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="surveys", verbose_name=_("technician")
    )
    started_at = models.DateTimeField(_("started at"))
    recorded_at = models.DateTimeField(_("recorded at"))
    primary_survey = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="paths",
        help_text=_("Survey of the first path, if this survey is a further path."),
        verbose_name=_("primary survey"),
    )

    if TYPE_CHECKING:
        data: RelatedManager[SurveyData]
        paths: RelatedManager[Survey]
        site_meter_readings: RelatedManager[SiteMeterReading]

    class Meta:
        verbose_name = _("survey")
        verbose_name_plural = _("surveys")
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
        """Return the data in force; `in_force` if it was read for many surveys at once."""
        versions = self.__dict__.get("in_force") or self.data.all()
        return next(version for version in versions if version.replaced_at is None)


class SurveyChange(models.TextChoices):
    FIRST = "first", _("first entry")
    CORRECTION = "correction", _("correction")
    SEGMENTS = "segments", _("segments of the log selected")
    OUTLIERS = "outliers", _("outliers of the log included or excluded")


class SurveyData(Record):
    """One immutable version of the data entered for a survey: mounting, date, segments used."""

    CLIENT_PATH = "survey__client"
    SITE_PATH = "survey__measuring_point__pipe__site"

    survey = models.ForeignKey(Survey, models.PROTECT, related_name="data", verbose_name=_("survey"))
    change = models.CharField(_("change"), max_length=12, choices=SurveyChange, default=SurveyChange.FIRST)
    reason = models.TextField(_("reason"), blank=True)
    setup = models.ForeignKey(Setup, models.PROTECT, related_name="survey_data", verbose_name=_("setup"))
    instruments = models.ManyToManyField(
        Instrument, related_name="survey_data", verbose_name=_("instruments")
    )
    started_at = models.DateTimeField(_("started at"))
    ended_at = models.DateTimeField(_("ended at"), null=True, blank=True)
    mounted_spacing_m = models.FloatField(_("mounted spacing (m)"), null=True, blank=True)
    medium_temperature_k = models.FloatField(_("medium temperature (K)"), null=True, blank=True)
    medium_temperature_source = models.CharField(
        _("medium temperature source"), max_length=10, choices=TemperatureSource, blank=True
    )
    path_angle_rad = models.FloatField(
        _("path angle (rad)"),
        null=True,
        blank=True,
        help_text=_(
            "Angular position of the upstream transducer around the pipe axis, from the same mark for all paths."
        ),
    )
    segments = models.JSONField(
        _("segments"),
        default=list,
        blank=True,
        help_text=_("Segments of the log to use: start, end, reason. Empty: whole log."),
    )
    include_outliers = models.BooleanField(
        _("include outliers"), default=False, help_text=_("Whether outliers of the log are used.")
    )
    note = models.TextField(_("note"), blank=True)
    recorded_at = models.DateTimeField(_("recorded at"))
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("recorded by")
    )
    replaced_at = models.DateTimeField(_("replaced at"), null=True, blank=True)
    as_entered = as_entered_field()

    class Meta:
        verbose_name = _("survey data")
        ordering = ["-recorded_at", "-id"]
        verbose_name_plural = _("survey data")
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
    """Imported file of a logger: its content, the rejected rows, and its checksum."""

    CLIENT_PATH = "survey__client"
    SITE_PATH = "survey__measuring_point__pipe__site"

    survey = models.OneToOneField(Survey, models.PROTECT, related_name="log", verbose_name=_("survey"))
    file_name = models.CharField(_("file name"), max_length=200, blank=True)
    size_bytes = models.BigIntegerField(
        _("size (bytes)"), validators=[MinValueValidator(0), MaxValueValidator(MAX_LOG_BYTES)]
    )
    sha256 = models.CharField(_("SHA-256"), max_length=64)
    format = models.JSONField(_("format"), help_text=_("Format used to read the file."))
    log_format = models.ForeignKey(
        LogFormat,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="logs",
        help_text=_("Log format of the instrument."),
        verbose_name=_("log format"),
    )
    columns = models.JSONField(
        _("columns"), help_text=_("Name and unit of each column from the header line.")
    )
    ignored_columns = models.JSONField(
        _("ignored columns"), default=list, help_text=_("Columns that were not imported.")
    )
    rows_accepted = models.BigIntegerField(
        _("rows accepted"), validators=[MinValueValidator(0), MaxValueValidator(MAX_LOG_BYTES)]
    )
    rows_rejected = models.BigIntegerField(
        _("rows rejected"), validators=[MinValueValidator(0), MaxValueValidator(MAX_LOG_BYTES)]
    )
    rejected_rows = models.JSONField(
        _("rejected rows"), help_text=_("First rejected rows: line, column, error.")
    )
    findings = models.JSONField(
        _("findings"), default=list, help_text=_("Gaps, clock jumps, repeated rows, changes of unit.")
    )
    first_reading_at = models.DateTimeField(_("first reading at"))
    last_reading_at = models.DateTimeField(_("last reading at"))
    received_at = models.DateTimeField(_("received at"))
    received_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("received by")
    )

    class Meta:
        verbose_name = _("log")
        verbose_name_plural = _("logs")
        constraints = [models.CheckConstraint(name="log_has_readings", condition=Q(rows_accepted__gt=0))]


class LogFilePart(models.Model):
    """Compressed piece of an imported file; the pieces in order are the file."""

    log = models.ForeignKey(Log, models.PROTECT, related_name="file_parts", verbose_name=_("log"))
    sequence = models.PositiveIntegerField(_("sequence"))
    content = models.BinaryField(_("content"))

    class Meta:
        verbose_name = _("log file part")
        verbose_name_plural = _("log file parts")
        ordering = ["log", "sequence"]
        constraints = [models.UniqueConstraint(fields=["log", "sequence"], name="log_file_part_once")]


class ReadingBlock(models.Model):
    """Up to 65,536 readings as compressed columns."""

    log = models.ForeignKey(Log, models.PROTECT, related_name="blocks", verbose_name=_("log"))
    sequence = models.PositiveIntegerField(_("sequence"))
    count = models.PositiveIntegerField(_("count"))
    content = models.BinaryField(_("content"))

    class Meta:
        verbose_name = _("reading block")
        verbose_name_plural = _("reading blocks")
        ordering = ["log", "sequence"]
        constraints = [models.UniqueConstraint(fields=["log", "sequence"], name="reading_block_once")]
