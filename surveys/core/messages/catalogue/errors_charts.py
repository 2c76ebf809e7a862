"""Errors of the time range of a chart."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry

ENTRIES = {
    "ends-too-early/time-range": Entry(
        title=_("Time range invalid"),
        detail=_("The end of the time range is not after its start."),
        remedy=_("Enter an end after the start."),
    ),
    "time-invalid/time-range": Entry(
        title=_("Time invalid"),
        detail=_("The text is not a time, or the time is out of range."),
        remedy=_("Enter a time such as 2026-10-06 09:30:00."),
    ),
}
