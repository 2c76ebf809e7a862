"""Log formats: records that describe how the files of a logger are read."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from surveys.core.errors import ServiceError
from surveys.core.messages import model_error_of
from surveys.logfiles.format import LogFormat as FileFormat
from surveys.models.base import Record


def validate_log_format(raw: object) -> None:
    """Reject a format that cannot read any file."""
    try:
        FileFormat.from_json(raw)
    except ServiceError as error:
        raise model_error_of(error.message) from None


class LogFormat(Record):
    """Named log format. A log stores the format it was read with, so that this record can be changed."""

    name = models.CharField(_("name"), max_length=100, unique=True)
    note = models.TextField(_("note"), blank=True)
    format = models.JSONField(_("format"), validators=[validate_log_format])
    created_at = models.DateTimeField(_("created at"))
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("created by")
    )
    retired_at = models.DateTimeField(_("retired at"), null=True, blank=True)

    class Meta:
        verbose_name = _("log format")
        verbose_name_plural = _("log formats")
        ordering = ["name", "id"]

    def __str__(self) -> str:
        return self.name

    @property
    def as_read(self) -> FileFormat:
        """Return the format as input of the import."""
        return FileFormat.from_json(self.format)
