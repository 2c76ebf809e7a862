"""Errors of creating and changing records."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry

ENTRIES = {
    "id-taken": Entry(
        title=_("Id already used"),
        detail=_("A record with this id already exists."),
        remedy=_("Use a new id for each record."),
    ),
    "reason-missing": Entry(
        title=_("Reason required"),
        detail=_("The change has no reason."),
        remedy=_("Enter the reason for the change."),
    ),
}
