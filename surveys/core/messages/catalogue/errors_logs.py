"""Errors of logs and their segments."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry

ENTRIES = {
    "out-of-range/segment-reversed": Entry(
        title=_("Segment ends before it starts"),
        detail=_("A marked segment ends ({end:seconds}) before it starts ({start:seconds})."),
        remedy=_("Exchange the two times."),
    ),
    "out-of-range/outside-calendar": Entry(
        title=_("Time outside the calendar"),
        detail=_("A time of the log is outside the years 1 to 9999."),
        remedy=_("Check the format of the times."),
    ),
    "not-enough-data/no-reading-in-segments": Entry(
        title=_("No reading in the marked segments"),
        detail=(
            _("The marked segments ({start:seconds} to {end:seconds}) contain no reading."),
            _("The log runs from {log_start:seconds} to {log_end:seconds}."),
        ),
        remedy=_("Mark a segment within the log, or none to use all readings."),
    ),
    "not-enough-data/no-possible-reading": Entry(
        title=_("No possible reading"),
        detail=_("No reading of the log is possible with this set-up: every transit time is too short."),
        remedy=_("Check the pipe data and the wedge delay."),
    ),
    "not-enough-data/readings-without-times": Entry(
        title=_("Readings without times"),
        detail=_("Segments are marked, but the readings have no times."),
        remedy=_("Remove the marks to use all readings."),
    ),
    "not-enough-data/log-without-times": Entry(
        title=_("Readings without times"),
        detail=_("The readings of {name} have no times."),
    ),
    "not-enough-data/no-readings": Entry(
        title=_("No readings"),
        detail=_("The log has no readings."),
        remedy=_("Import a log with readings."),
    ),
    "number-invalid/flows-and-times": Entry(
        title=_("Reading incomplete"),
        detail=_("Every reading needs a time and a finite flow."),
    ),
}
