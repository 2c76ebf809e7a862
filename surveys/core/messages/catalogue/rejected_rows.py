"""Reasons why rows of a log are rejected."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry, first_of, when

ENTRIES = {
    "row-quotes-invalid": Entry(
        title=_("Quotes not valid"),
        detail=_("The quotes do not enclose whole cells, or a quote is not closed in its line."),
    ),
    "row-columns-missing": Entry(
        title=_("Columns missing"),
        detail=_("The row has {columns} columns; {needed} are needed."),
    ),
    "row-columns-extra": Entry(
        title=_("Too many columns"),
        detail=_("The row has {columns} columns; the header names {named}."),
    ),
    "time-invalid/pattern": Entry(
        title=_("Time not valid"),
        detail=_("“{cell}” is not a time of the form {pattern}."),
    ),
    "time-invalid/iso": Entry(
        title=_("Time not valid"),
        detail=_("“{cell}” is not an ISO 8601 time."),
    ),
    "time-invalid/count": Entry(
        title=_("Time not valid"),
        detail=_("“{cell}” is not a number of {unit}."),
    ),
    "time-out-of-range": Entry(
        title=_("Time out of range"),
        detail=first_of(
            when("cell", _("The time “{cell}” is outside the years {first_year:d} to {last_year:d}.")),
            _("The time is outside the years {first_year:d} to {last_year:d}."),
        ),
    ),
    "time-missing": Entry(title=_("Time missing"), detail=_("The row has no time.")),
    "time-nonexistent": Entry(
        title=_("Time does not exist"),
        detail=_(
            "{clock} on {on} does not exist in the time zone {zone}: the clocks changed from {changed_from} to {changed_to}."
        ),
        remedy=_(
            "If the logger's clock keeps one offset all year, enter the zone in the log format, such as UTC+01:00."
        ),
    ),
    "value-missing": Entry(
        title=_("Value missing"),
        detail=first_of(
            when("cell", _("“{cell}” means no value, but every reading needs a value in this column.")),
            _("Every reading needs a value in this column."),
        ),
    ),
    "value-invalid": Entry(
        title=_("Value not valid"),
        detail=first_of(
            when("cell", _("“{cell}” is not a number.")), _("The cell does not contain a finite number.")
        ),
    ),
}
