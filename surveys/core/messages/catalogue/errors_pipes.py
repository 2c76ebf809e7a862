"""Rejections about pipes and their data."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry

ENTRIES = {
    "already-corrected/pipe-data": Entry(
        title=_("Pipe data already corrected"),
        detail=_("This version of the pipe data has already been corrected."),
        remedy=_("Reload the pipe and correct the version in force."),
    ),
    "no-pipe-data/correction": Entry(
        title=_("No pipe data"),
        detail=_("This pipe has no data to correct."),
        remedy=_("Enter the pipe data."),
    ),
}
