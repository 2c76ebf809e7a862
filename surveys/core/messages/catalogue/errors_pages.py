"""Rejections of the forms of pages."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry

ENTRIES = {
    "nothing-changed/form": Entry(
        title=_("No changes"),
        detail=_("All fields have their recorded values."),
        remedy=_("Enter the correct values."),
    ),
    "required/review-decision": Entry(
        title=_("Decision missing"),
        detail=_("No decision was selected for the result."),
        remedy=_("Select a decision."),
    ),
}
