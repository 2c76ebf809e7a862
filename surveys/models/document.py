"""Uploaded files, stored unchanged: certificates of calibrations and technicians, documents of instruments."""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from surveys.models.base import Record
from surveys.models.calibration import Calibration
from surveys.models.instrument import Instrument

MAX_DOCUMENT_BYTES = 10_000_000


class Document(Record):
    """PDF of an instrument, or the one certificate of a calibration or of a technician's qualification."""

    instrument = models.ForeignKey(
        Instrument,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="documents",
        verbose_name=_("instrument"),
    )
    calibration = models.OneToOneField(
        Calibration,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="certificate_file",
        verbose_name=_("calibration"),
    )
    qualification = models.OneToOneField(
        "Qualification",
        models.PROTECT,
        null=True,
        blank=True,
        related_name="certificate_file",
        verbose_name=_("qualification"),
    )
    title = models.CharField(_("title"), max_length=200, blank=True)
    file_name = models.CharField(_("file name"), max_length=200, blank=True)
    size_bytes = models.BigIntegerField(
        _("size (bytes)"), validators=[MinValueValidator(0), MaxValueValidator(MAX_DOCUMENT_BYTES)]
    )
    sha256 = models.CharField(_("SHA-256"), max_length=64)
    received_at = models.DateTimeField(_("received at"))
    received_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("received by")
    )

    class Meta:
        verbose_name = _("document")
        verbose_name_plural = _("documents")
        ordering = ["-received_at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="document_of_one_record",
                condition=Q(instrument__isnull=False, calibration__isnull=True, qualification__isnull=True)
                | Q(instrument__isnull=True, calibration__isnull=False, qualification__isnull=True)
                | Q(instrument__isnull=True, calibration__isnull=True, qualification__isnull=False),
            ),
            models.UniqueConstraint(
                fields=["instrument", "sha256"],
                condition=Q(instrument__isnull=False),
                name="document_once_at_an_instrument",
            ),
        ]


class DocumentPart(models.Model):
    """Compressed piece of an uploaded file; the pieces in order are the file."""

    document = models.ForeignKey(Document, models.PROTECT, related_name="parts", verbose_name=_("document"))
    sequence = models.PositiveIntegerField(_("sequence"))
    content = models.BinaryField(_("content"))

    class Meta:
        verbose_name = _("document part")
        verbose_name_plural = _("document parts")
        ordering = ["document", "sequence"]
        constraints = [models.UniqueConstraint(fields=["document", "sequence"], name="document_part_once")]
