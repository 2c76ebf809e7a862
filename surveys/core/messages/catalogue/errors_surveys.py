"""Errors of surveys, of their logs and of readings of the site meter."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry, choose

ENTRIES = {
    "already-corrected/survey-data": Entry(
        title=_("Survey already corrected"),
        detail=_("This version of the survey has already been corrected."),
        remedy=_("Reload the survey and correct the version in force."),
    ),
    "ends-too-early/segment": Entry(
        title=_("Segment ends before it starts"),
        detail=_("A segment ends at {end:seconds}, but starts at {start:seconds}."),
        remedy=_("Enter an end after the start."),
    ),
    "log-exists": Entry(
        title=_("Survey already has a log"),
        detail=_("The survey already has another log, imported at {received_at}."),
        remedy=_("Record a new survey for another file."),
    ),
    "meter-missing": Entry(
        title=_("Flow meter required"),
        detail=_("The survey has no flow meter among its instruments."),
        remedy=_("Select the flow meter that was used."),
    ),
    "no-log": Entry(
        title=_("Survey has no log"),
        detail=_("The survey has no log yet."),
        remedy=_("Import the log, then mark segments."),
    ),
    "outliers-unchanged": Entry(
        title=_("Outliers not changed"),
        detail=choose(
            "included",
            true=_("The outliers of the log are included already."),
            false=_("The outliers of the log are excluded already."),
        ),
    ),
    "other-point/primary-survey": Entry(
        title=_("Survey of another measuring point"),
        detail=_(
            "The primary survey is at another measuring point. Paths are combined at one measuring point."
        ),
        remedy=_("Select a survey of this measuring point."),
    ),
    "other-point/setup": Entry(
        title=_("Set-up of another measuring point"),
        detail=_("The set-up belongs to another measuring point."),
        remedy=_("Select a set-up of the measuring point of the survey."),
    ),
    "other-site/job": Entry(
        title=_("Job at another site"),
        detail=_("The job is at another site than the measuring point."),
        remedy=_("Select a job at the site of the measuring point."),
    ),
    "outside-log": Entry(
        title=_("Segment outside the log"),
        detail=(
            _("The segment from {start:seconds} to {end:seconds} is outside the log."),
            _("The log runs from {log_start:seconds} to {log_end:seconds}."),
        ),
        remedy=_("Mark a segment within the log."),
    ),
    "path-of-a-path": Entry(
        title=_("Primary survey is a further path"),
        detail=_("The primary survey is itself a further path of the survey {primary_survey}."),
        remedy=_("Enter that survey as the primary survey."),
    ),
    "segments-overlap": Entry(
        title=_("Segments overlap"),
        detail=_(
            "A segment starts at {start:seconds}, before the previous segment ends at {previous_end:seconds}."
        ),
        remedy=_("Mark segments that do not overlap."),
    ),
    "uncertainty-invalid/site-meter": Entry(
        title=_("Uncertainty not valid"),
        detail=_("The uncertainty of the site meter must be above zero."),
        remedy=_("Enter the uncertainty, or leave it out if it is not known."),
    ),
}
